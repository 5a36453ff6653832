// Read values off a plot: by pointer, by finger, or by the keys of a native slider.
// The table below each plot holds the same figures without any script.
"use strict";

(() => {
  const MINUS = "\u2212";

  const numbers = path =>
    (path?.getAttribute("d") || "")
      .split(/(?=[ML])/)
      .map(part => part.slice(1).trim().split(/[\s,h]+/).map(Number))
      .filter(([x, y]) => Number.isFinite(x) && Number.isFinite(y));

  const percent = part => {
    const text = (100 * part).toFixed(1);
    return `${text.replace("-", MINUS)} %`;
  };

  // Where the outline of the range stands above a place, lowest and highest wear.
  const heights = (outline, x) => {
    const found = [];
    outline.forEach(([x1, y1], i) => {
      const [x2, y2] = outline[(i + 1) % outline.length];
      if (x1 !== x2 && Math.min(x1, x2) <= x && x <= Math.max(x1, x2)) {
        found.push(y1 + ((y2 - y1) * (x - x1)) / (x2 - x1));
      }
    });
    return found.length > 1 ? [Math.max(...found), Math.min(...found)] : null;
  };

  const enliven = svg => {
    const read = name => Number(svg.dataset[name]);
    const [left, right, top, bottom] = ["left", "right", "top", "bottom"].map(read);
    const [low, high] = ["low", "high"].map(read);
    const first = Date.parse(svg.dataset.first);
    const last = Date.parse(svg.dataset.last);
    const day = x =>
      new Date(first + ((last - first) * (x - left)) / (right - left))
        .toISOString().slice(0, 10);
    const wear = y => low + ((high - low) * (bottom - y)) / (bottom - top);

    const past = numbers(svg.querySelector(".line"));
    const course = numbers(svg.querySelector(".course"));
    const outline = numbers(svg.querySelector(".range"));
    const now = past.length ? past[past.length - 1][0] : left;
    const ahead = [];
    for (let i = 0; course.length > 1 && i + 1 < course.length; i += 1) {
      const [[x1, y1], [x2, y2]] = [course[i], course[i + 1]];
      for (let step = 1; step <= 12; step += 1) {
        const x = x1 + ((x2 - x1) * step) / 12;
        if (x > now) ahead.push([x, y1 + ((y2 - y1) * (x - x1)) / (x2 - x1)]);
      }
    }
    const stops = [...past, ...ahead];
    if (stops.length < 2) return;

    const said = ([x, y], place) => {
      if (place < past.length) return `${day(x)}: wear ${percent(wear(y))}`;
      const range = heights(outline, x);
      const sure = range
        ? ` (80 % interval ${percent(wear(range[0]))} to ${percent(wear(range[1]))})`
        : "";
      return `${day(x)}: ${percent(wear(y))} expected${sure}`;
    };

    const label = document.createElement("label");
    label.className = "read-off";
    const slider = document.createElement("input");
    slider.type = "range";
    slider.min = 0;
    slider.max = stops.length - 1;
    slider.value = past.length - 1;
    const output = document.createElement("output");
    label.append("Read a day off the plot", slider, output);
    svg.after(label);
    label.classList.add(svg.classList.contains("plot-narrow") ? "for-narrow" : "for-wide");

    const pointer = document.createElementNS(svg.namespaceURI, "g");
    pointer.setAttribute("class", "pointer");
    pointer.innerHTML = "<path/><circle r='4.5'/>";
    const [line, dot] = pointer.children;

    const show = place => {
      const [x, y] = stops[place];
      line.setAttribute("d", `M${x} ${top}V${bottom}`);
      dot.setAttribute("cx", x);
      dot.setAttribute("cy", y);
      if (!pointer.isConnected) svg.append(pointer);
      const text = said(stops[place], place);
      output.textContent = text;
      slider.setAttribute("aria-valuetext", text);
    };

    slider.addEventListener("input", () => show(Number(slider.value)));
    slider.addEventListener("focus", () => show(Number(slider.value)));
    svg.addEventListener("pointermove", event => {
      const box = svg.getBoundingClientRect();
      const x = ((event.clientX - box.left) * svg.viewBox.baseVal.width) / box.width;
      let nearest = 0;
      stops.forEach(([at], place) => {
        if (Math.abs(at - x) < Math.abs(stops[nearest][0] - x)) nearest = place;
      });
      slider.value = nearest;
      show(nearest);
    });
    slider.setAttribute("aria-valuetext", said(stops[past.length - 1], past.length - 1));
    output.textContent = said(stops[past.length - 1], past.length - 1);
  };

  document.querySelectorAll("svg.plot[data-first]").forEach(enliven);
})();
