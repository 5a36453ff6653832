// Bring the alert list up to date while it is open, without moving what one reads.
"use strict";

(() => {
  const list = document.getElementById("alerts");
  const news = document.getElementById("news");
  if (!news || !window.EventSource) return;
  const LEAST_PAUSE_MS = 4000;
  let waiting = 0;
  let last = 0;

  const inUse = item =>
    item.contains(document.activeElement) ||
    item.querySelector("details[open], input:checked") !== null;

  const steady = change => {
    const anchor = [...document.querySelectorAll("#alerts > li")].find(
      item => item.getBoundingClientRect().bottom > 0
    );
    const before = anchor ? anchor.getBoundingClientRect().top : 0;
    change();
    if (anchor && anchor.isConnected && window.scrollY > 0) {
      window.scrollBy(0, anchor.getBoundingClientRect().top - before);
    }
  };

  const merge = fresh => {
    const came = [];
    let place = null;
    for (const item of fresh.children) {
      const there = document.getElementById(item.id);
      if (!there) {
        const added = document.importNode(item, true);
        added.classList.add("is-new");
        if (place) place.after(added);
        else list.prepend(added);
        came.push(added);
        place = added;
        continue;
      }
      if (there.dataset.version !== item.dataset.version && !inUse(there)) {
        there.replaceWith(document.importNode(item, true));
      }
      place = document.getElementById(item.id);
    }
    for (const item of [...list.children]) {
      if (!fresh.querySelector(`#${item.id}`)) item.classList.add("is-over");
    }
    return came;
  };

  const tell = came => {
    if (came.length === 0) return;
    const link = document.createElement("a");
    link.href = `#${came[0].id}`;
    const what = came[0].querySelector("h3").textContent.trim();
    const where = came[0].querySelector(".alert-where a");
    const first = where ? `${what}, ${where.textContent.trim()}` : what;
    const more = came.length > 1 ? ` and ${came.length - 1} more` : "";
    link.textContent = `New: ${first}${more}`;
    news.replaceChildren(link);
    news.hidden = false;
  };

  const refresh = async () => {
    last = Date.now();
    const answer = await fetch(location.href, { headers: { Accept: "text/html" } });
    if (!answer.ok || answer.redirected) return;
    const page = new DOMParser().parseFromString(await answer.text(), "text/html");
    const fresh = page.getElementById("alerts");
    const counts = page.querySelector(".counts");
    if (!list || !fresh) {
      if (Boolean(list) !== Boolean(fresh)) {
        news.textContent = "The list has changed: load the page again to see it.";
        news.hidden = false;
      }
      return;
    }
    let came = [];
    steady(() => {
      document.querySelector(".counts")?.replaceWith(document.importNode(counts, true));
      came = merge(fresh);
    });
    tell(came);
  };

  const soon = () => {
    if (waiting) return;
    const pause = Math.max(200, LEAST_PAUSE_MS - (Date.now() - last));
    waiting = setTimeout(() => {
      waiting = 0;
      refresh().catch(() => {});
    }, pause);
  };

  const stream = new EventSource("/live");
  stream.addEventListener("alerts", soon);
  // What happened while the line was broken is looked for when it is there again.
  let said = false;
  stream.addEventListener("hello", () => {
    if (said) soon();
    said = true;
  });
  window.addEventListener("pagehide", () => stream.close());
})();
