// In which order cars stand, and which of them a few typed letters or digits mean.

const RANK = { overdue: 0, due_now: 0, soon: 1, unknown: 2, in_date: 3, by_event: 4, not_required: 5 };

/** What is due first at a car. @returns {{status: string, due_on: string | null, words: string} | null} */
export function first(car) {
  return [...(car.due ?? [])].sort(bySoonest)[0] ?? null;
}

const rank = (due) => RANK[due?.status] ?? 6;

function bySoonest(a, b) {
  return rank(a) - rank(b) || (a.due_on ?? "9999").localeCompare(b.due_on ?? "9999");
}

/** Cars by what is overdue first, then soonest, then by mark and number. */
export function byNeed(cars) {
  const need = new Map(cars.map((car) => [car, first(car)]));
  return [...cars].sort((a, b) => {
    const [one, other] = [need.get(a), need.get(b)];
    if (!one || !other) return rank(one) - rank(other) || byName(a, b);
    return bySoonest(one, other) || byName(a, b);
  });
}

export const byName = (a, b) => a.mark.localeCompare(b.mark) || Number(a.number) - Number(b.number);

const plain = (text) => String(text).toUpperCase().replace(/[^A-Z0-9]/g, "");

const name = (car) => plain(car.mark + car.number);

/** The cars whose mark and number hold what was typed; those that begin or end with it first. */
export function matching(cars, typed) {
  const wanted = plain(typed);
  if (!wanted) return [];
  // A number painted with zeros in front is the same number.
  const painted = (car) => plain(car.mark) + String(car.number).padStart(6, "0");
  return inOrder(cars.filter((car) => name(car).includes(wanted) || painted(car).includes(wanted)), typed);
}

/** The very number or name that was typed first, then those that begin or end with it. */
export function inOrder(cars, typed) {
  const wanted = plain(typed);
  const edge = (car) => (plain(car.number) === wanted || name(car) === wanted ? 0 : name(car).startsWith(wanted) || name(car).endsWith(wanted) ? 1 : 2);
  return [...cars].sort((a, b) => edge(a) - edge(b) || byName(a, b));
}
