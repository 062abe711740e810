// Every page works without this. With it: what was refused or done takes the focus, a form is sent once, and a table or
// picture that is wider than its place says so.
"use strict";

document.querySelector("[data-focus]")?.focus();

document.addEventListener("submit", (event) => {
  const form = event.target;
  if (form.dataset.sent) {
    event.preventDefault();
    return;
  }
  form.dataset.sent = "yes";
});

const watched = new ResizeObserver((changes) => {
  for (const { target } of changes) {
    const wide = target.closest(".wide");
    wide.toggleAttribute("data-wider", wide.scrollWidth > wide.clientWidth + 1);
  }
});

// The region and what is in it: either may become wider or narrower. A part may be fetched into the page later.
function watchWide() {
  for (const wide of document.querySelectorAll(".wide:not([data-watched])")) {
    wide.dataset.watched = document.body.dataset.sideways;
    watched.observe(wide);
    if (wide.firstElementChild) watched.observe(wide.firstElementChild);
  }
}

watchWide();
new MutationObserver(watchWide).observe(document.getElementById("main"), { childList: true, subtree: true });

// Back from the browser's memory: the form may be sent again.
window.addEventListener("pageshow", () => {
  for (const form of document.querySelectorAll("form[data-sent]")) {
    delete form.dataset.sent;
  }
});
