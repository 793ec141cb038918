// Read a car's code label with the camera, or from a photograph where the camera cannot be had.

import { car, cars } from "../database.js";
import { html, nothing } from "../html.js";
import { act, head, notice } from "../record/pieces.js";
import { takeOne } from "./find.js";
import { meant, reader } from "./labels.js";

const EVERY = 200;
const NO_CAMERA = "The camera cannot be used here. Allow it in the browser's settings, choose a photograph of the label, or find the car by its number.";
const NOT_READ = "No label was found in this photograph. Take it from nearer, straight on and without glare.";

export async function scan(ui) {
  if (ui.fresh) {
    ui.leave = () => stop(ui);
    queueMicrotask(() => look(ui));
  }
  return () => html`${head("Read a label", null)}
    <p>Hold the camera to the code label on the car.</p>
    <video class="shell-video" playsinline muted aria-label="What the camera sees"></video>
    <div role="status">${ui.blind ? html`<p class="notice">${NO_CAMERA}</p>` : nothing}</div>
    ${notice(ui)}
    ${ui.strange ? elsewhere(ui) : nothing}
    <p class="actions">
      <label class="button button-quiet shell-file">Choose a photograph
        <input type="file" accept="image/*" capture="environment" @change=${(event) => act(ui, () => fromFile(ui, event.target))()}></label>
      <a class="button button-quiet" href="#/find">Find by number</a></p>`;
}

const elsewhere = (ui) => html`<p class="actions"><button class="button" type="button" @click=${act(ui, () => takeOne(ui.strange, "From its label"))}>Take this car along</button></p>`;

async function look(ui) {
  try {
    ui.stream = await navigator.mediaDevices.getUserMedia({ video: { facingMode: "environment" } });
  } catch {
    ui.blind = true; // told beside what a photograph gives, which may have come before
    ui.redraw();
    return;
  }
  if (ui.left) return stop(ui);
  const video = ui.mount.querySelector("video");
  video.srcObject = ui.stream;
  await video.play().catch(() => {});
  await watch(ui, video, await reader());
}

async function watch(ui, video, read) {
  while (!ui.left) {
    const text = video.videoWidth ? await read(video).catch(() => null) : null;
    if (text && text !== ui.text && !ui.left) await found(ui, text);
    await new Promise((go) => setTimeout(go, EVERY));
  }
}

function stop(ui) {
  ui.left = true;
  for (const track of ui.stream?.getTracks() ?? []) track.stop();
}

async function fromFile(ui, field) {
  const picture = await createImageBitmap(field.files[0]);
  const text = await (await reader())(picture);
  field.value = "";
  if (!text) throw new Error(NOT_READ);
  await found(ui, text);
}

async function found(ui, text) {
  ui.text = text;
  const key = await carMeant(meant(text));
  ui.strange = key?.strange ?? null;
  if (key?.here) location.hash = `#/car/${key.here}`;
  else ui.notice = ui.strange ? "This car is not on this tablet." : "This is not a label of a car on this tablet.";
  ui.redraw();
}

async function carMeant(named) {
  if (named?.id) return (await car(named.id)) ? { here: named.id } : { strange: named.id };
  const one = named && (await cars()).find((each) => `${each.mark}${each.number}` === named.name);
  return one ? { here: one.id } : null;
}
