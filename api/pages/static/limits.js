// A long answer is fetched into its page, which says meanwhile that it is on its way. Without this the form leads to
// the answer's own page.
"use strict";

(() => {
  const place = document.querySelector("[data-answering]");
  if (!place) return;
  const status = place.querySelector("[data-status]");
  const answer = place.querySelector("[data-answer]");
  let asked = null;

  function wait() {
    status.textContent = place.dataset.waiting;
    answer.setAttribute("aria-busy", "true");
    place.dataset.busy = "yes";
    if (!place.querySelector("progress")) {
      const bar = document.createElement("progress");
      bar.setAttribute("aria-label", place.dataset.waiting);
      status.after(bar);
    }
  }

  function rest(words) {
    place.querySelector("progress")?.remove();
    delete place.dataset.busy;
    answer.removeAttribute("aria-busy");
    status.textContent = words;
  }

  async function fetchAnswer(address, focus) {
    const mine = asked = new AbortController();
    wait();
    let words = place.dataset.here;
    try {
      const reply = await fetch(address, { headers: { "x-fragment": "answer", accept: "text/html" }, signal: mine.signal });
      if (reply.redirected) {
        // The session has ended: the page itself leads to sign-in and back.
        location.reload();
        return;
      }
      answer.innerHTML = await reply.text();
      if (!reply.ok) words = place.dataset.refused;
      // A picture is worked out too, and takes as long.
      const pictures = [...answer.querySelectorAll("img")].filter((picture) => !picture.complete);
      await Promise.all(pictures.map((picture) => new Promise((seen) => {
        picture.addEventListener("load", seen);
        picture.addEventListener("error", seen);
      })));
      if (mine.signal.aborted) return;
    } catch (error) {
      if (mine.signal.aborted) return;
      words = place.dataset.failed;
    }
    rest(words);
    if (focus) answer.querySelector("[data-answer-title], [data-focus]")?.focus();
  }

  for (const form of document.querySelectorAll("form[data-asks]")) {
    form.addEventListener("submit", (event) => {
      event.preventDefault();
      event.stopPropagation();
      asked?.abort();
      const query = new URLSearchParams([...new FormData(form)].filter(([, value]) => String(value).trim()));
      history.pushState(null, "", `${form.dataset.asks}?${query}`);
      fetchAnswer(`${form.getAttribute("action")}?${query}`, true);
    });
  }

  // Back and forward lead to other questions: their page holds the form as it was.
  window.addEventListener("popstate", () => location.reload());

  if (answer.dataset.from) fetchAnswer(answer.dataset.from, false);
})();
