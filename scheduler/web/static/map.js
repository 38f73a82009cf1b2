"use strict";
// Moves and enlarges the map, lays its labels out, and shows where the phone is. The map works
// without this script.
(() => {
  const map = document.getElementById("map");
  if (!map) return;
  const LABEL_PX = 13; // assumed, the smallest that is read at arm's length
  const GAP_PX = 5; // between a label and what it names
  const REACH_PX = 22; // a tap counts for a field this near: half of the 44 px of WCAG 2.2, 2.5.5
  const labels = document.getElementById("labels");
  const me = document.getElementById("me");
  const told = document.getElementById("place");
  const ask = document.getElementById("where");
  const view = map.viewBox.baseVal;
  const fields = Array.from(map.querySelectorAll(".field"));
  const points = Array.from(labels.querySelectorAll(".point"));
  const yard = labels.querySelector(".yard");
  const first = Number(labels.getAttribute("font-size")); // the size for which the yard is drawn
  document.querySelector(".map-tools").hidden = false;

  // Every label in the first free place inside of, or around, what it names. A label that would
  // cover another one, a field or a point, or that the edge would cut, is hidden until there is
  // room. Places in the order of the day come first, then names of points, then ids of fields.
  function layLabels() {
    const toMap = map.getScreenCTM().inverse();
    const frame = map.getBoundingClientRect();
    labels.setAttribute("font-size", LABEL_PX * toMap.a);
    labels.setAttribute("class", "laid");
    me.setAttribute("r", (LABEL_PX / 2) * toMap.a);
    for (const point of points) point.setAttribute("r", (LABEL_PX / 3) * toMap.a);
    const { x: west, y: north, width: across, height: down } = yard.getBBox();
    const size = (LABEL_PX * toMap.a) / first;
    const still = [west + across / 2, north + down / 2].map((middle) => middle * (1 - size));
    yard.setAttribute("transform", `translate(${still}) scale(${size})`);
    const shapes = new Map([...fields, ...points, yard].map((s) => [s, s.getBoundingClientRect()]));
    const taken = [];
    const apart = (a, b) =>
      a.right <= b.left || b.right <= a.left || a.bottom <= b.top || b.bottom <= a.top;
    const texts = ["place-number", "name", "id"].flatMap((c) => [...labels.querySelectorAll(`.${c}`)]);
    for (const text of texts) {
      const own = document.getElementById(text.dataset.of) || text.previousElementSibling;
      const shape = shapes.get(own);
      text.removeAttribute("visibility");
      const { width, height } = text.getBoundingClientRect();
      const x = (shape.left + shape.right) / 2;
      const y = (shape.top + shape.bottom) / 2;
      const aside = (shape.width + width) / 2 + GAP_PX;
      const over = (shape.height + height) / 2 + GAP_PX;
      const fits = text.matches(".place-number") || (width < shape.width && height < shape.height);
      const steps = [[aside, 0], [-aside, 0], [0, over], [0, -over]];
      const corners = [[aside, over], [-aside, over], [aside, -over], [-aside, -over]];
      const places = [...(fits ? [[0, 0]] : []), ...steps, ...corners].map(
        ([east, south]) => new DOMRect(x + east - width / 2, y + south - height / 2, width, height),
      );
      const free = places.find(
        (p) =>
          p.left >= frame.left && p.right <= frame.right && p.top >= frame.top && p.bottom <= frame.bottom &&
          taken.every((t) => apart(t, p)) &&
          (text.matches(".place-number") || [...shapes].every(([s, r]) => s === own || apart(r, p))),
      );
      if (!free) {
        text.setAttribute("visibility", "hidden");
        continue;
      }
      taken.push(free);
      const middle = new DOMPoint(free.x + width / 2, free.y + height / 2).matrixTransform(toMap);
      text.setAttribute("x", middle.x);
      text.setAttribute("y", middle.y);
    }
  }

  function zoom(factor) {
    const width = view.width * factor;
    const height = view.height * factor;
    view.x += (view.width - width) / 2;
    view.y += (view.height - height) / 2;
    view.width = width;
    view.height = height;
    layLabels();
  }
  document.getElementById("nearer").addEventListener("click", () => zoom(0.6));
  document.getElementById("farther").addEventListener("click", () => zoom(1 / 0.6));
  addEventListener("resize", layLabels);
  layLabels();

  let drag = null;
  map.addEventListener("pointerdown", (event) => {
    drag = { x: event.clientX, y: event.clientY, moved: false };
  });
  map.addEventListener("pointermove", (event) => {
    if (!drag || !event.buttons) return;
    const scale = 1 / map.getScreenCTM().a;
    const x = event.clientX - drag.x;
    const y = event.clientY - drag.y;
    if (!drag.moved && Math.hypot(x, y) < 8) return; // a tap
    drag = { x: event.clientX, y: event.clientY, moved: true };
    view.x -= x * scale;
    view.y -= y * scale;
  });
  map.addEventListener("pointerup", () => drag && drag.moved && layLabels());
  map.addEventListener("click", (event) => {
    if (drag && drag.moved) event.preventDefault();
    else if (!event.target.closest("a")) openNearest(event.clientX, event.clientY);
    drag = null;
  }, true);

  // A thumb is wider than a field on a map of the whole farm.
  function openNearest(x, y) {
    const away = fields.map((field) => {
      const box = field.getBoundingClientRect();
      return Math.hypot(Math.max(box.left - x, x - box.right, 0), Math.max(box.top - y, y - box.bottom, 0));
    });
    const least = Math.min(...away);
    if (least <= REACH_PX) location.hash = fields[away.indexOf(least)].closest("a").getAttribute("href");
  }

  function show(position) {
    const { latitude, longitude } = position.coords;
    me.setAttribute("cx", (longitude - Number(map.dataset.lon)) * Number(map.dataset.east));
    me.setAttribute("cy", (Number(map.dataset.lat) - latitude) * Number(map.dataset.north));
    me.setAttribute("visibility", "visible");
    const [here, frame] = [me, map].map((shape) => shape.getBoundingClientRect());
    const inside =
      here.left > frame.left && here.right < frame.right && here.top > frame.top && here.bottom < frame.bottom;
    told.textContent = inside ? "" : ask.dataset.outside;
  }

  ask.addEventListener("click", () => {
    if (!navigator.geolocation) {
      told.textContent = ask.dataset.refused;
      return;
    }
    told.textContent = ask.dataset.asking;
    navigator.geolocation.watchPosition(show, () => (told.textContent = ask.dataset.refused), {
      enableHighAccuracy: true,
      maximumAge: 30000,
    });
  });
})();
