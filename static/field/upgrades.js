// The tablet's store step by step. A step that went out is never changed: tablets hold stores of every version,
// and each is led through the steps that it lacks, with all that waits in it.

export const NAME = "stencilbook-field";

/** @type {Array<(db: any, transaction: any) => void>} step n leads from version n to n + 1 */
export const UPGRADES = [first, packs];

function first(db) {
  db.createObjectStore("about", { keyPath: "key" });
  db.createObjectStore("shared", { keyPath: "person" });
  db.createObjectStore("cars", { keyPath: ["person", "id"] }).createIndex("person", "person");
  db.createObjectStore("reports", { keyPath: "key" }).createIndex("person", "person");
  const entries = db.createObjectStore("entries", { keyPath: "key" });
  entries.createIndex("place", ["report", "place"], { unique: true });
  entries.createIndex("state", ["person", "state"]);
  // The same picture may belong to two reports, and is sent for each.
  const photographs = db.createObjectStore("photographs", { keyPath: ["person", "report", "digest"] });
  photographs.createIndex("digest", ["person", "digest"]);
  photographs.createIndex("state", ["person", "state"]);
}

// Which cars came with which pack, so that one can be taken again or let go without the others.
function packs(db) {
  db.createObjectStore("packs", { keyPath: ["person", "question"] }).createIndex("person", "person");
}
