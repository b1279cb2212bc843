// Corners of a sheet, tapped on its photograph: four handles that can be dragged, or moved by the
// arrow keys. The fields of the form hold the truth; without this script they are typed.
"use strict";

(() => {
  const view = document.querySelector("[data-corners]");
  const form = document.querySelector(".corners-form");
  if (!view || !form) return;

  const names = ["Top left", "Top right", "Bottom right", "Bottom left"];
  const width = Number(view.dataset.width);
  const height = Number(view.dataset.height);
  const fields = names.map((_, n) => ["x", "y"].map((axis) => form.elements[axis + n]));
  const handles = names.map((name, n) => {
    const handle = document.createElement("button");
    handle.type = "button";
    handle.className = "corner-handle";
    handle.textContent = String(n + 1);
    handle.hidden = true;
    view.append(handle);
    return handle;
  });

  const placeOf = (n) => {
    const [x, y] = fields[n].map((field) => (field.value.trim() === "" ? NaN : Number(field.value.replace(",", "."))));
    return Number.isFinite(x) && Number.isFinite(y) ? [x, y] : null;
  };

  const show = (n) => {
    const place = placeOf(n);
    const handle = handles[n];
    handle.hidden = !place || !isOpen();
    if (!place) return;
    handle.style.left = `${((place[0] + 0.5) / width) * 100}%`;
    handle.style.top = `${((place[1] + 0.5) / height) * 100}%`;
    handle.setAttribute("aria-label", `${n + 1}, ${names[n].toLowerCase()} corner, ${Math.round(place[0])} across, ${Math.round(place[1])} down. Arrow keys move it.`);
  };

  const put = (n, x, y) => {
    fields[n][0].value = Math.min(width - 1, Math.max(0, x)).toFixed(1);
    fields[n][1].value = Math.min(height - 1, Math.max(0, y)).toFixed(1);
    show(n);
  };

  const details = form.closest("details");
  const isOpen = () => !details || details.open;
  const showAll = () => {
    view.classList.toggle("placing", isOpen());
    names.forEach((_, n) => show(n));
  };

  const pointOf = (event) => {
    const box = view.getBoundingClientRect();
    return [
      ((event.clientX - box.left) / box.width) * width - 0.5,
      ((event.clientY - box.top) / box.height) * height - 0.5,
    ];
  };

  view.addEventListener("click", (event) => {
    if (!isOpen() || handles.includes(event.target)) return;
    const [x, y] = pointOf(event);
    let next = names.findIndex((_, n) => !placeOf(n));
    if (next < 0) {
      // All four are placed: the one nearest to the tap moves there.
      const distances = names.map((_, n) => Math.hypot(placeOf(n)[0] - x, placeOf(n)[1] - y));
      next = distances.indexOf(Math.min(...distances));
    }
    put(next, x, y);
  });

  handles.forEach((handle, n) => {
    handle.addEventListener("pointerdown", (event) => {
      handle.setPointerCapture(event.pointerId);
    });
    handle.addEventListener("pointermove", (event) => {
      if (handle.hasPointerCapture(event.pointerId)) put(n, ...pointOf(event));
    });
    handle.addEventListener("keydown", (event) => {
      const steps = { ArrowLeft: [-1, 0], ArrowRight: [1, 0], ArrowUp: [0, -1], ArrowDown: [0, 1] };
      const step = steps[event.key];
      if (!step) return;
      event.preventDefault();
      const by = event.shiftKey ? width / 100 : width / 1000;
      const [x, y] = placeOf(n);
      put(n, x + step[0] * by, y + step[1] * by);
    });
  });

  fields.flat().forEach((field) => field.addEventListener("input", showAll));
  if (details) details.addEventListener("toggle", showAll);
  showAll();
})();
