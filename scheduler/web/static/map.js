"use strict";
// Moves and enlarges the map, and shows where the phone is. The map works without this script.
(() => {
  const map = document.getElementById("map");
  if (!map) return;
  const labels = document.getElementById("labels");
  const me = document.getElementById("me");
  const told = document.getElementById("place");
  const ask = document.getElementById("where");
  const view = map.viewBox.baseVal;
  const share = Number(labels.getAttribute("font-size")) / view.width;
  document.querySelector(".map-tools").hidden = false;

  function zoom(factor) {
    const width = view.width * factor;
    const height = view.height * factor;
    view.x += (view.width - width) / 2;
    view.y += (view.height - height) / 2;
    view.width = width;
    view.height = height;
    labels.setAttribute("font-size", share * width);
    me.setAttribute("r", (share * width) / 2);
  }
  document.getElementById("nearer").addEventListener("click", () => zoom(0.6));
  document.getElementById("farther").addEventListener("click", () => zoom(1 / 0.6));

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
  map.addEventListener("click", (event) => {
    if (drag && drag.moved) event.preventDefault();
    drag = null;
  }, true);

  function show(position) {
    const { latitude, longitude } = position.coords;
    const x = (longitude - Number(map.dataset.lon)) * Number(map.dataset.east);
    const y = (Number(map.dataset.lat) - latitude) * Number(map.dataset.north);
    me.setAttribute("cx", x);
    me.setAttribute("cy", y);
    me.setAttribute("visibility", "visible");
    const inside = x > view.x && x < view.x + view.width && y > view.y && y < view.y + view.height;
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
