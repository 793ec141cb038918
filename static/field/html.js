/** What screens are drawn with, named in one place: lit-html as it is vendored. */
export { html, svg, nothing, render } from "./vendor/lit-html.js";
