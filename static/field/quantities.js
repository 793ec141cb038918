// Quantities in words: counts, sizes, how long ago.

/** With its first letter large. */
export const capital = (words) => words.charAt(0).toUpperCase() + words.slice(1);

/** "1 car", "12 cars". */
export const counted = (value, one, many = `${one}s`) => `${value} ${value === 1 ? one : many}`;

/** Bytes in the unit that reads best. */
export function size(bytes) {
  if (bytes < 10_000) return `${bytes} bytes`;
  return bytes >= 1e6 ? `${(bytes / 1e6).toFixed(1)} MB` : `${Math.round(bytes / 1000)} kB`;
}

/** How long ago a moment was, by this tablet's clock. */
export function ago(moment, now = Date.now()) {
  const since = Math.max(0, now - new Date(moment));
  return since < 90_000 ? "just now" : `${lasting(since)} ago`;
}

/** How long milliseconds last: "12 minutes", "3 hours", "5 days". */
export function lasting(milliseconds) {
  const minutes = Math.round(milliseconds / 60_000);
  if (minutes < 60) return counted(minutes, "minute");
  const hours = Math.round(minutes / 60);
  return hours < 48 ? counted(hours, "hour") : counted(Math.round(hours / 24), "day");
}
