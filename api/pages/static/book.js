// A check that runs is looked at again every second; lines that others need are copied by a button. All works without.
"use strict";

const PAUSE_MS = 1000;

async function follow() {
  const shown = document.getElementById("check");
  if (!shown || !("live" in shown.dataset)) {
    return;
  }
  shown.querySelector(".again").hidden = true;
  try {
    const answer = await fetch(location.href, { headers: { accept: "text/html" } });
    const page = new DOMParser().parseFromString(await answer.text(), "text/html");
    const next = page.getElementById("check");
    if (!answer.ok || !next) {
      throw new Error("no check in the answer");
    }
    const bar = shown.querySelector("progress");
    const after = next.querySelector("progress");
    if (bar && after) {
      // The bar itself stays, so that it moves on and is not read out as another.
      bar.value = after.value;
      shown.querySelector("p").textContent = next.querySelector("p").textContent;
    } else {
      shown.replaceWith(document.adoptNode(next));
    }
  } catch {
    // The service is away for a moment, or for good: the link is there again.
    shown.querySelector(".again").hidden = false;
  }
  setTimeout(follow, PAUSE_MS);
}

function offerCopying() {
  for (const button of document.querySelectorAll("button[data-copies]")) {
    button.hidden = false;
    button.addEventListener("click", async () => {
      await navigator.clipboard.writeText(document.getElementById(button.dataset.copies).textContent.trim() + "\n");
      button.textContent = button.dataset.done;
    });
  }
}

setTimeout(follow, PAUSE_MS);
if (navigator.clipboard) {
  offerCopying();
}
