// A button beside a password shows what was typed, and hides it again before the form is sent.
"use strict";
for (const button of document.querySelectorAll("button[data-reveals]")) {
  const field = document.getElementById(button.dataset.reveals);
  const show = (shown) => {
    field.type = shown ? "text" : "password";
    button.setAttribute("aria-pressed", String(shown));
  };
  button.hidden = false;
  button.addEventListener("click", () => show(field.type === "password"));
  field.form.addEventListener("submit", () => show(false));
}
