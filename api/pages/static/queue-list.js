// The list of what waits, as people see it. All words stand in the page's templates, in its language.
"use strict";

export function showList(place, { waiting, sent, standing, account }) {
  const mine = waiting.filter((item) => item.account === account);
  const open = mine.filter((item) => !item.refused);
  const refused = mine.filter((item) => item.refused);
  const others = waiting.length - mine.length;
  place.querySelector("[data-count]").textContent = String(open.length);
  for (const part of place.querySelectorAll("[data-when]")) {
    const shown = {
      away: standing === "away", "signed-out": standing === "signed-out", waiting: open.length > 0,
      refused: refused.length > 0, sent: sent.length > 0, others: others > 0,
    };
    part.hidden = !shown[part.dataset.when];
  }
  place.querySelector("[data-others]").textContent = String(others);
  place.hidden = !open.length && !refused.length && !others && !sent.length && standing === "here";
  place.dataset.standing = standing;
  list(place, "waiting", open);
  list(place, "refused", refused);
  list(place, "sent", sent);
}

function list(place, name, items) {
  const holder = place.querySelector(`[data-list=${name}]`);
  const template = holder.querySelector("template");
  const line = (item) => {
    const one = template.content.firstElementChild.cloneNode(true);
    if (item.n !== undefined) one.dataset.n = item.n;
    const words = { what: item.what, said: item.said || item.refused?.said || "", mend: item.refused?.mend || "" };
    for (const part of one.querySelectorAll("[data-say]")) {
      part.textContent = words[part.dataset.say];
      if (!part.textContent) part.hidden = true;
    }
    const time = one.querySelector("time");
    if (time) {
      const at = new Date(item.since ?? item.at);
      time.dateTime = at.toISOString();
      time.textContent = at.toLocaleTimeString(document.documentElement.lang);
    }
    const link = one.querySelector("a");
    if (link && item.next) link.href = item.next;
    return one;
  };
  holder.replaceChildren(template, ...items.map(line));
}
