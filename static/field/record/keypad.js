/**
 * A number tapped on the page with keys that a glove hits, or typed: Enter is the last key. The tablet's own
 * keypad comes up only where the field itself is touched.
 */
import { html, nothing } from "../html.js";

const KEYS = ["7", "8", "9", "4", "5", "6", "1", "2", "3", ".", "0"];

/**
 * @param {any} ui keeps what is typed in `typed`
 * @param {{label: string, problem: string, button: string, disabled: boolean, typing: () => void, enter: (text: string) => void}} pad
 *   `typing` is told at every key; `enter` empties `typed` once it is kept
 */
export function keypad(ui, { label, problem, button, disabled, typing, enter }) {
  ui.typed ??= "";
  const put = (text) => {
    ui.typed = text;
    typing();
    ui.redraw();
  };
  const send = (event) => {
    event.preventDefault();
    enter(ui.typed.trim());
  };
  return html`<form class="keypad" novalidate autocomplete="off" @submit=${send}>
    <div class=${`field${problem ? " field-wrong" : ""}`}><label for="number">${label}</label>
      <input id="number" name="number" class="big" inputmode="decimal" enterkeyhint="next" .value=${ui.typed} ?disabled=${disabled}
        aria-invalid=${problem ? "true" : nothing} aria-describedby=${problem ? "number-problem" : nothing} @input=${(event) => put(event.target.value)}>
      ${problem ? html`<p class="problem" id="number-problem" role="alert">${problem}</p>` : nothing}</div>
    <div class="keys" role="group" aria-label="Keys">
      ${KEYS.map((key) => html`<button type="button" class="key" ?disabled=${disabled} @click=${() => put(ui.typed + key)}>${key}</button>`)}
      <button type="button" class="key" aria-label="Delete the last figure" ?disabled=${disabled} @click=${() => put(ui.typed.slice(0, -1))}>⌫</button>
    </div>
    <button class="button key-next" type="submit" ?disabled=${disabled}>${button}</button>
  </form>`;
}
