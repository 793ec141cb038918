// Takes the pack along into a fresh store, and hands the address to the screens as the program's router does.
import { changed, setPerson, written } from "./database.js";
import { show } from "./record/screens.js";

async function take() {
  const pack = await (await fetch("/app/pack.json")).json();
  await setPerson(pack.person);
  const { cars, person, ...value } = pack;
  await written(["cars", "shared"], async (transaction) => {
    await transaction.objectStore("shared").put({ person: person.id, value });
    for (const car of cars) await transaction.objectStore("cars").put({ person: person.id, id: car.id, car });
  });
}

const path = () => location.hash.replace(/^#\//, "").split("/").filter(Boolean);
const draw = () => path().length && show(path(), document.getElementById("screen"));

await take();
addEventListener("hashchange", draw);
changed.addEventListener("changed", () => {
  if (!document.activeElement?.matches("input, textarea, select")) draw();
});
await draw();
document.documentElement.dataset.ready = "yes";
