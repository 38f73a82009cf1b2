"use strict";
// Everything works without this file; it saves reloads, shows progress and lets fields be dragged.
document.documentElement.classList.add("scripted");

function watchReplan(box) {
  const share = document.getElementById("share");
  const step = document.getElementById("step");
  async function look() {
    try {
      const state = await (await fetch(box.dataset.state)).json();
      if (!state.running) {
        if (state.error) location.reload();
        else location.assign(box.dataset.done);
        return;
      }
      share.value = Math.round(100 * state.share);
      if (step.textContent !== state.text) step.textContent = state.text;
    } catch (lost) {
      step.textContent = "no connection to the page; trying again";
    }
    setTimeout(look, 500);
  }
  setTimeout(look, 300);
}

function ownOrder(form) {
  const list = document.getElementById("own");
  const typed = document.getElementById("fields");
  const box = document.getElementById("price");
  let asked = 0;
  let timer = 0;

  const rows = () => Array.from(list.children);

  function say(lines) {
    box.replaceChildren();
    for (const line of lines) {
      const part = document.createElement("p");
      part.textContent = line;
      box.append(part);
    }
  }

  async function price() {
    const mine = ++asked;
    const data = new FormData(form);
    data.set("fields", typed.value);
    try {
      const answer = await (await fetch(form.dataset.price, { method: "POST", body: data })).json();
      if (mine !== asked) return;
      if (answer.error) say(["No price: " + answer.error]);
      else say(answer.lines);
    } catch (lost) {
      if (mine === asked) say(["No price: no connection to the page"]);
    }
  }

  function soon(wait) {
    clearTimeout(timer);
    timer = setTimeout(price, wait);
  }

  function listed() {
    typed.value = rows().map((row) => row.dataset.field).join(", ");
    rows().forEach((row, i) => {
      row.querySelector("button[value^=up]").disabled = i === 0;
      row.querySelector("button[value^=down]").disabled = i === list.children.length - 1;
    });
    soon(150);
  }

  list.addEventListener("click", (event) => {
    const button = event.target.closest("button");
    if (!button) return;
    event.preventDefault();
    const row = button.closest("li");
    const way = button.value.split(":")[0];
    if (way === "up" && row.previousElementSibling) row.previousElementSibling.before(row);
    else if (way === "down" && row.nextElementSibling) row.nextElementSibling.after(row);
    else if (way === "drop") row.remove();
    listed();
    if (row.isConnected) (button.disabled ? row.querySelector("button:enabled") : button).focus();
  });

  list.addEventListener("pointerdown", (event) => {
    const grip = event.target.closest(".grip");
    if (!grip) return;
    event.preventDefault();
    const row = grip.closest("li");
    row.classList.add("dragged");
    function move(to) {
      const over = rows().find((r) => {
        const edge = r.getBoundingClientRect();
        return r !== row && to.clientY > edge.top && to.clientY < edge.bottom;
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
      listed();
    }
    document.addEventListener("pointermove", move);
    document.addEventListener("pointerup", end);
    document.addEventListener("pointercancel", end);
  });

  typed.addEventListener("input", () => soon(600));
}

// Paper shows every day, also where the browser would leave a closed part out.
addEventListener("beforeprint", () => {
  for (const part of document.querySelectorAll("details")) part.open = true;
});

const replan = document.getElementById("replan");
if (replan) watchReplan(replan);
const own = document.getElementById("own-order");
if (own) ownOrder(own);
