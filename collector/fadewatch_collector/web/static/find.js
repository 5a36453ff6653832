// Suggest laptops while somebody types; without it the form finds them all the same.
"use strict";

(() => {
  const input = document.getElementById("find");
  const list = document.getElementById("found");
  if (!input || !list) return;
  const PAUSE_MS = 150;
  let timer = 0;
  let asked = 0;
  let active = -1;

  input.setAttribute("role", "combobox");
  input.setAttribute("aria-autocomplete", "list");
  input.setAttribute("aria-controls", list.id);
  input.setAttribute("aria-expanded", "false");

  const close = () => {
    list.hidden = true;
    active = -1;
    input.setAttribute("aria-expanded", "false");
    input.removeAttribute("aria-activedescendant");
  };

  const option = (laptop, place) => {
    const item = document.createElement("li");
    item.id = `found-${place}`;
    item.setAttribute("role", "option");
    item.setAttribute("aria-selected", "false");
    const link = document.createElement("a");
    link.href = laptop.page;
    link.tabIndex = -1;
    const name = document.createElement("strong");
    name.textContent = laptop.name;
    const about = document.createElement("span");
    about.textContent = laptop.about;
    link.append(name, about);
    item.append(link);
    return item;
  };

  const show = laptops => {
    list.replaceChildren(...laptops.map(option));
    active = -1;
    list.hidden = laptops.length === 0;
    input.setAttribute("aria-expanded", String(laptops.length > 0));
    input.removeAttribute("aria-activedescendant");
  };

  const ask = async () => {
    const typed = input.value.trim();
    const mine = ++asked;
    if (typed.length < 2) return close();
    try {
      const answer = await fetch(`/find?find=${encodeURIComponent(typed)}`);
      if (!answer.ok || answer.redirected) return close();
      const laptops = await answer.json();
      if (mine === asked && document.activeElement === input) show(laptops);
    } catch {
      close();
    }
  };

  const move = by => {
    const items = [...list.children];
    if (list.hidden || items.length === 0) return;
    if (active >= 0) items[active].setAttribute("aria-selected", "false");
    active = (active + by + items.length + (active < 0 && by < 0 ? 1 : 0)) % items.length;
    items[active].setAttribute("aria-selected", "true");
    items[active].scrollIntoView({ block: "nearest" });
    input.setAttribute("aria-activedescendant", items[active].id);
  };

  input.addEventListener("input", () => {
    clearTimeout(timer);
    timer = setTimeout(ask, PAUSE_MS);
  });
  input.addEventListener("keydown", event => {
    if (event.key === "ArrowDown" || event.key === "ArrowUp") {
      event.preventDefault();
      move(event.key === "ArrowDown" ? 1 : -1);
    } else if (event.key === "Escape" && !list.hidden) {
      event.preventDefault();
      close();
    } else if (event.key === "Enter" && active >= 0) {
      event.preventDefault();
      list.children[active].querySelector("a").click();
    }
  });
  input.addEventListener("blur", () => setTimeout(close, 200));
})();
