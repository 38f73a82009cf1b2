"use strict";
// The page works without this script. The script shows the progress of a replan and lets people
// drag fields.
document.documentElement.classList.add("scripted");

function watchReplan(box) {
  const share = document.getElementById("share");
  const step = document.getElementById("step");
  async function update() {
    try {
      const state = await (await fetch(box.dataset.state)).json();
      if (!state.running) {
        if (state.error) location.reload();
        else location.assign(box.dataset.done);
        return;
      }
      share.value = Math.round(100 * state.share);
      if (step.textContent !== state.text) step.textContent = state.text;
    } catch {
      step.textContent = box.dataset.lost;
    }
    setTimeout(update, 500);
  }
  setTimeout(update, 300);
}

function ownOrder(form) {
  const list = document.getElementById("own");
  const typed = document.getElementById("fields");
  const box = document.getElementById("price");
  let requests = 0;
  let asking = false;
  let timer = 0;

  const rows = () => Array.from(list.children);

  function showLines(lines) {
    box.replaceChildren();
    for (const line of lines) {
      const part = document.createElement("p");
      part.textContent = line;
      box.append(part);
    }
  }

  // Rows follow what is typed, so that an arrow moves a field of the list as it is typed now.
  function takeTyped() {
    const names = typed.value.split(/[,;\n]/).map((name) => name.trim()).filter(Boolean);
    const known = new Map(rows().map((row) => [row.dataset.field.toLowerCase(), row]));
    const shown = rows().map((row) => row.dataset.field);
    if (names.join() === shown.join() || !rows().length) return;
    const kept = names.map((name) => known.get(name.toLowerCase()) || newRow(name));
    list.replaceChildren(...new Set(kept));
  }

  function newRow(name) {
    const row = list.querySelector("li").cloneNode(true);
    row.dataset.field = name;
    row.querySelector(".name").textContent = name;
    for (const button of row.querySelectorAll("button"))
      button.value = `${button.value.split(":")[0]}:${name}`;
    return row;
  }

  async function price() {
    const request = ++requests;
    if (asking) return; // the answer under way asks again when it comes
    asking = true;
    const waiting = setTimeout(() => showLines([form.dataset.waiting]), 700);
    const data = new FormData(form);
    data.set("fields", typed.value);
    try {
      const answer = await (await fetch(form.dataset.price, { method: "POST", body: data })).json();
      if (request !== requests) return;
      if (answer.error) showLines([form.dataset.none.replace("…", answer.error)]);
      else showLines(answer.lines);
    } catch {
      if (request === requests) showLines([form.dataset.none.replace("…", form.dataset.lost)]);
    } finally {
      clearTimeout(waiting);
      asking = false;
      if (request !== requests) price();
    }
  }

  function priceAfter(wait) {
    clearTimeout(timer);
    timer = setTimeout(price, wait);
  }

  function orderChanged() {
    typed.value = rows().map((row) => row.dataset.field).join(", ");
    for (const step of list.querySelectorAll(".step")) step.remove(); // priced for the plan's order
    rows().forEach((row, i) => {
      row.querySelector("button[value^=up]").disabled = i === 0;
      row.querySelector("button[value^=down]").disabled = i === list.children.length - 1;
    });
    priceAfter(150);
  }

  list.addEventListener("click", (event) => {
    const button = event.target.closest("button");
    if (!button) return;
    event.preventDefault();
    const name = button.closest("li").dataset.field;
    takeTyped();
    const row = rows().find((one) => one.dataset.field === name);
    if (!row) return orderChanged();
    const direction = button.value.split(":")[0];
    if (direction === "up" && row.previousElementSibling) row.previousElementSibling.before(row);
    else if (direction === "down" && row.nextElementSibling) row.nextElementSibling.after(row);
    else if (direction === "drop") row.remove();
    orderChanged();
    if (row.isConnected) {
      const same = row.querySelector(`button[value^=${direction}]`);
      (same.disabled ? row.querySelector("button:enabled") : same).focus();
    }
  });

  list.addEventListener("pointerdown", (event) => {
    const grip = event.target.closest(".grip");
    if (!grip) return;
    event.preventDefault();
    takeTyped();
    const row = grip.closest("li");
    row.classList.add("dragged");
    function move(pointer) {
      const over = rows().find((r) => {
        const edge = r.getBoundingClientRect();
        return r !== row && pointer.clientY > edge.top && pointer.clientY < edge.bottom;
      });
      if (!over) return;
      if (rows().indexOf(over) < rows().indexOf(row)) over.before(row);
      else over.after(row);
    }
    function end() {
      row.classList.remove("dragged");
      document.removeEventListener("pointermove", move);
      document.removeEventListener("pointerup", end);
      document.removeEventListener("pointercancel", end);
      orderChanged();
    }
    document.addEventListener("pointermove", move);
    document.addEventListener("pointerup", end);
    document.addEventListener("pointercancel", end);
  });

  typed.addEventListener("input", () => priceAfter(600));
}

// Print every day, although browsers leave closed parts out.
addEventListener("beforeprint", () => {
  for (const part of document.querySelectorAll("details")) part.open = true;
});

const replan = document.getElementById("replan");
if (replan) watchReplan(replan);
const own = document.getElementById("own-order");
if (own) ownOrder(own);
