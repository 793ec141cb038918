// Small comforts only: everything works without this file.
"use strict";

// "/" goes to the search box from anywhere but a field.
document.addEventListener("keydown", (press) => {
  const field = document.querySelector("[data-find]");
  const typing = press.target.closest?.("input, textarea, select, [contenteditable]");
  if (press.key !== "/" || press.ctrlKey || press.metaKey || press.altKey || typing || !field) return;
  press.preventDefault();
  field.focus();
  field.select();
});

// A form sends once; the button wakes again when the page is come back to.
document.addEventListener("submit", (sent) => {
  const form = sent.target;
  if (form.method !== "post" || sent.defaultPrevented) return;
  if (form.dataset.sent) sent.preventDefault();
  form.dataset.sent = "yes";
});
window.addEventListener("pageshow", () => {
  for (const form of document.forms) delete form.dataset.sent;
});
document.addEventListener("htmx:afterRequest", (done) => {
  const form = done.target.closest?.("form");
  if (form) delete form.dataset.sent;
});

// A file over the limit is told before it travels; the server says the same.
document.addEventListener("change", (chosen) => {
  const field = chosen.target;
  if (!field.matches?.("input[type=file][data-most-bytes]")) return;
  const most = Number(field.dataset.mostBytes);
  const size = field.files[0]?.size ?? 0;
  field.setCustomValidity(size > most ? field.dataset.tooLarge : "");
  field.reportValidity();
});

// Printing is a button's work, since no page carries inline code.
document.addEventListener("click", (press) => {
  if (press.target.closest?.("[data-print]")) window.print();
});
// Reasons unfold below their row; the same link folds them again.
document.addEventListener("click", (press) => {
  const link = press.target.closest?.("[data-unfold]");
  if (!link) return;
  const below = link.closest("tr").nextElementSibling;
  const open = below?.classList.contains("unfold") ?? false;
  link.setAttribute("aria-expanded", String(!open));
  if (!open) return;
  press.preventDefault();
  press.stopPropagation();
  below.remove();
}, true);
// An unfolded menu closes on a click elsewhere, and with Escape, which leads back to its button.
const openMenus = () => document.querySelectorAll("details.menu[open]");
document.addEventListener("click", (press) => {
  for (const menu of openMenus()) if (!menu.contains(press.target)) menu.open = false;
});
document.addEventListener("keydown", (press) => {
  if (press.key !== "Escape") return;
  for (const menu of openMenus()) {
    menu.open = false;
    menu.querySelector("summary").focus();
  }
});
document.documentElement.classList.add("scripted");
