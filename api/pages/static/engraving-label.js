// Labels are printed when the page is opened (not when one comes back to it); then the next ball is at hand.
"use strict";

const button = document.getElementById("print");
const images = [...document.querySelectorAll("img.label")];

if (button) {
  button.hidden = false;
  button.addEventListener("click", () => window.print());
  const onward = document.getElementById("onward");
  window.addEventListener("afterprint", () => onward.focus());
  const [opened] = performance.getEntriesByType("navigation");
  if (!opened || opened.type === "navigate") {
    Promise.all(images.map((image) => image.decode().catch(() => {}))).then(() => window.print());
  }
}
