// Moments in the browser's own time zone; the server writes them in UTC.
"use strict";

(() => {
  const two = number => String(number).padStart(2, "0");
  const zone = minutes => {
    const off = Math.abs(minutes);
    const sign = minutes > 0 ? "\u2212" : "+";
    return off === 0 ? "UTC" : `UTC${sign}${two(Math.floor(off / 60))}:${two(off % 60)}`;
  };
  const localise = element => {
    const at = new Date(element.dateTime);
    if (!element.dateTime.includes("T") || Number.isNaN(at.getTime())) return;
    const day = `${at.getFullYear()}-${two(at.getMonth() + 1)}-${two(at.getDate())}`;
    const clock = `${two(at.getHours())}:${two(at.getMinutes())}`;
    element.title = `${day} ${clock} ${zone(at.getTimezoneOffset())}`;
    if (/^\d{4}-\d\d-\d\d$/.test(element.textContent.trim())) element.textContent = day;
  };
  const all = root => root.querySelectorAll?.("time[datetime]").forEach(localise);
  all(document);
  new MutationObserver(changes => {
    for (const change of changes) change.addedNodes.forEach(all);
  }).observe(document.body, { childList: true, subtree: true });
})();
