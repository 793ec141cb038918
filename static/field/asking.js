// Asks the register over a network that may fail at any moment, and says in one word what came of it.

/** @typedef {"offline" | "signed_out" | "other_person" | "not_allowed" | "slow" | "busy" | "too_large" | "not_taken"} Why */

const SENTENCES = {
  offline: "No connection. What you record is kept on this tablet.",
  signed_out: "You are signed out. Sign in again to send what waits; it is kept on this tablet.",
  other_person: "Somebody else is signed in now. What was recorded before is kept on this tablet for whoever recorded it.",
  not_allowed: "The register does not let you record here now. What waits is kept on this tablet.",
  slow: "The register asks to wait a moment.",
  busy: "The register cannot answer now. It is tried again by itself.",
  too_large: "The register says that this is too large.",
  not_taken: "The register cannot read this.",
};
const BY_STATUS = { 401: "signed_out", 403: "not_allowed", 409: "other_person", 413: "too_large", 429: "slow" };

/** The register did not do what was asked. What waits goes on waiting. */
export class NotDone extends Error {
  /** @param {Why} why @param {string} [said] what the register said itself @param {number} [seconds] to wait at least
   *  @param {number} [status] of the answer, 0 when none came */
  constructor(why, said = "", seconds = 0, status = 0) {
    super(said || SENTENCES[why]);
    Object.assign(this, { name: "NotDone", why, seconds, status });
  }
}

/**
 * @param {string} address
 * @param {{method?: string, body?: any, type?: string, seconds?: number}} [how] `body` is JSON unless it has a `type`
 * @returns {Promise<any>} the answer; raises NotDone
 */
export async function ask(address, { method = "GET", body, type, seconds = 30 } = {}) {
  const answer = await answered(address, {
    method,
    body: body === undefined || type ? body : JSON.stringify(body),
    headers: { Accept: "application/json", ...(body !== undefined && { "Content-Type": type ?? "application/json" }) },
    credentials: "same-origin",
    redirect: "error", // an answer from somewhere else, such as a hotel's network
    signal: AbortSignal.timeout(seconds * 1000),
  });
  if (!answer.ok) throw await refusal(answer);
  // What is no JSON came from somebody else on the way.
  return answer.json().catch(() => Promise.reject(new NotDone("offline")));
}

async function answered(address, request) {
  try {
    return await fetch(address, request);
  } catch {
    throw new NotDone("offline");
  }
}

async function refusal(answer) {
  const told = (await answer.json().catch(() => null))?.error?.message ?? "";
  const why = BY_STATUS[answer.status] ?? (answer.status >= 500 ? "busy" : "not_taken");
  const seconds = Number(answer.headers.get("Retry-After")) || 0;
  const own = why === "not_taken" || why === "too_large" || why === "not_allowed";
  return new NotDone(why, own ? told : "", seconds, answer.status);
}
