"use strict";
// Entries that reach the season book once, what the page says without a connection, and new orders,
// which show by themselves.
//
// A form with the attribute data-kept is stored on this phone (IndexedDB) before its first try,
// under a token made here, and stays there until the farm's computer has answered. It is sent again
// with the same token until then; the season book writes a token once. data-about names the entry.
// An entry that waits is taken back by a second one, which names its token (of) and is sent after it.
// Without this script the same forms are sent by the browser.
(() => {
  const panel = document.getElementById("kept");
  if (!panel) return;
  const signal = document.getElementById("signal");
  const words = JSON.parse(panel.dataset.words);
  const HEADER = "X-Kept-Entry";
  const TRY_S = 20; // between tries while entries wait, and between looks for the connection
  const BUSY_S = 3; // between looks while the planner searches for better orders
  const PATIENCE_MS = 12000; // for one answer
  const loaded = Number(document.documentElement.dataset.stored) || Date.now();
  const written = []; // since this page was loaded
  let soon = 0; // timer of a look while the planner searches
  let connected = true;
  let sending = false;
  let typed = false; // whether somebody has typed into a form of this page

  const fill = (text, fields) => text.replace(/\{(\w+)\}/g, (_, name) => fields[name]);

  function element(name, text, more = {}) {
    return Object.assign(document.createElement(name), { textContent: text }, more);
  }

  const clock = (at) =>
    new Date(at).toLocaleTimeString(document.documentElement.lang, { hour: "numeric", minute: "2-digit" });

  function span(ms) {
    const minutes = Math.max(0, Math.round(ms / 60000));
    if (minutes < 100) return fill(words.minutes, { n: minutes });
    if (minutes < 48 * 60) return fill(words.hours, { n: Math.round(minutes / 60) });
    return fill(words.days, { n: Math.round(minutes / 1440) });
  }

  function newToken() {
    // crypto.randomUUID asks for https; 16 random bytes do as well
    const bytes = crypto.getRandomValues(new Uint8Array(16));
    return Array.from(bytes, (b) => b.toString(16).padStart(2, "0")).join("");
  }

  // The store of entries on this phone.

  function openStore() {
    return new Promise((done, failed) => {
      const request = indexedDB.open("afterrain", 1);
      request.onupgradeneeded = () => request.result.createObjectStore("entries", { keyPath: "token" });
      request.onsuccess = () => done(request.result);
      request.onerror = () => failed(request.error);
    });
  }

  async function inStore(mode, act) {
    const store = await openStore();
    try {
      return await new Promise((done, failed) => {
        const change = store.transaction("entries", mode, { durability: "strict" });
        const request = act(change.objectStore("entries"));
        change.oncomplete = () => done(request.result);
        change.onabort = change.onerror = () => failed(change.error);
      });
    } finally {
      store.close();
    }
  }

  const put = (record) => inStore("readwrite", (s) => s.put(record));
  const remove = (record) => inStore("readwrite", (s) => s.delete(record.token));
  async function records() {
    try {
      const all = await inStore("readonly", (s) => s.getAll());
      return all.sort((a, b) => a.typed - b.typed);
    } catch {
      return [];
    }
  }

  // Sending.

  async function send(record, when) {
    const body = new URLSearchParams(record.fields);
    body.set("token", record.token);
    body.set("age", Math.max(0, Math.round((Date.now() - record.typed) / 1000)));
    if (record.seen !== undefined) body.set("seen", record.seen);
    let answer, told;
    try {
      answer = await fetch(record.base + record.path, {
        method: "POST",
        body,
        headers: { [HEADER]: when, Accept: "application/json" },
        signal: AbortSignal.timeout(PATIENCE_MS),
      });
      told = await answer.json();
    } catch {
      if (!answer || answer.ok) return { state: "waiting", lost: true }; // no answer, or half of one
      told = { error: answer.statusText };
    }
    if (answer.ok && told.written) return { state: "written", ...told };
    if (answer.status === 401) return { state: "login" };
    if (answer.status === 410) return { state: "ended" };
    if (answer.ok || answer.status >= 500 || answer.status === 429) return { state: "waiting" };
    return { state: "refused", why: told.error, problems: told.problems, seen: told.seen };
  }

  const waits = (record) => record.state === "waiting" || record.state === "login";

  // Token of the entry that a record takes back.
  const takesBack = (record) => (record.fields.find(([name]) => name === "of") || [])[1];

  async function keepResult(record, result) {
    if (result.state === "written") {
      record.state = "written";
      await remove(record);
      written.push(...(result.told || [fill(words.written, { entry: record.about })]));
      return;
    }
    record.state = result.state;
    if (result.why !== undefined) record.why = result.why;
    if (result.seen !== undefined) record.seen = result.seen;
    await put(record);
  }

  async function sendAll() {
    if (sending) return;
    sending = true;
    try {
      const all = await records();
      for (const record of all) {
        if (!waits(record) || all.some((r) => r.token === takesBack(record) && waits(r))) continue;
        const result = await send(record, "later");
        if (result.lost) {
          lost();
          break;
        }
        await keepResult(record, result);
        found();
      }
    } finally {
      sending = false;
      await show();
    }
  }

  // Forms.

  function about(form) {
    const parts = [];
    for (const input of form.querySelectorAll("select, input:not([type=hidden])")) {
      if (input.type === "radio" ? !input.checked : !input.value) continue;
      if (input.name === "by") continue;
      const option = input.selectedOptions && input.selectedOptions[0];
      parts.push((option ? option.textContent : input.value).trim());
    }
    return [form.dataset.about, parts.join(", ")].filter(Boolean).join(": ");
  }

  function made(form, button) {
    const data = new FormData(form);
    if (button && button.name) data.set(button.name, button.value);
    data.delete("csrf_token");
    const path = new URL(form.action).pathname;
    const base = panel.dataset.base;
    const inside = path.startsWith(base);
    return {
      token: newToken(),
      base: inside ? base : "",
      path: inside ? path.slice(base.length) : path,
      name: panel.dataset.name,
      fields: Array.from(data, ([name, value]) => [name, String(value)]),
      about: [about(form), button && button.name && button.textContent.trim()].filter(Boolean).join(": "),
      typed: Date.now(),
      state: "waiting",
    };
  }

  function clearProblems(form) {
    for (const old of form.querySelectorAll(".from-script")) old.remove();
    for (const input of form.querySelectorAll("[data-problem]")) {
      input.removeAttribute("aria-invalid");
      input.removeAttribute("aria-describedby");
      delete input.dataset.problem;
    }
  }

  function showProblems(form, result) {
    const box = element("div", "", { className: "box from-script" });
    box.setAttribute("role", "alert");
    for (const line of fill(words.refused, { why: result.why || "" }).split("\n")) box.append(element("p", line));
    form.prepend(box);
    for (const [name, text] of Object.entries(result.problems || {})) {
      const found = form.elements.namedItem(name);
      const input = found instanceof RadioNodeList ? found[0] : found;
      if (!input || input.type === "hidden") continue;
      const line = element("p", text, { className: "wrong from-script", id: `problem-${newToken()}` });
      input.dataset.problem = "";
      input.setAttribute("aria-invalid", "true");
      input.setAttribute("aria-describedby", line.id);
      (input.closest("p, fieldset, .gauge") || input).after(line);
      const question = form.querySelector(`[data-asks="${name}"]`);
      if (question) question.hidden = false;
    }
    if (result.seen !== undefined && form.elements.seen) form.elements.seen.value = result.seen;
    box.scrollIntoView({ block: "nearest" });
  }

  async function submitted(event) {
    const form = event.target;
    if (event.defaultPrevented || !form.matches("form[data-kept]")) return;
    event.preventDefault();
    if (form.dataset.busy) return;
    form.dataset.busy = "yes";
    clearProblems(form);
    const record = made(form, event.submitter);
    try {
      await put(record);
    } catch {
      // no store on this phone: the browser sends the form, with the token that the page gave it
      delete form.dataset.busy;
      form.removeAttribute("data-kept");
      form.requestSubmit(event.submitter);
      return;
    }
    try {
      const result = await send(record, "now");
      if (result.state === "refused") {
        await remove(record); // what was typed still stands in the form
        showProblems(form, result);
        return;
      }
      await keepResult(record, result);
      if (result.state === "written") {
        typed = false;
        const to = new URL(result.written, location.href);
        if (to.pathname === location.pathname && to.search === location.search) location.reload();
        else location.assign(to);
        return;
      }
      if (result.lost) lost();
      // whoever has typed on in the meantime keeps what stands in the form
      if (String(made(form, event.submitter).fields) === String(record.fields)) form.reset();
      const note = element("p", `${record.about}: ${words.kept}`, { className: "remark from-script" });
      note.setAttribute("role", "status");
      form.append(note);
    } finally {
      delete form.dataset.busy;
      await show();
    }
  }

  // What the page says.

  function stateText(record) {
    if (record.state === "refused") return fill(words.refused, { why: record.why || "" });
    return words[record.state];
  }

  function button(text, act, name) {
    const made = element("button", text, { type: "button", className: "small" });
    made.append(element("span", ` ${name}`, { className: "away" }));
    made.addEventListener("click", act);
    return made;
  }

  function backOut(record) {
    return put({
      ...record,
      token: newToken(),
      path: "undo",
      fields: [["of", record.token]],
      about: fill(words.backed_out, { entry: record.about }),
      typed: Date.now(),
      state: "waiting",
    });
  }

  function row(record, _place, all) {
    const item = element("li", "");
    item.append(element("p", record.about, { className: "remark" }));
    item.append(element("p", `${fill(words.typed, { time: clock(record.typed) })}; ${stateText(record)}`));
    const again = async () => {
      record.state = "waiting";
      await put(record);
      await sendAll();
    };
    const here = panel.dataset.base;
    if (record.state === "ended" && record.base !== here && record.name === panel.dataset.name)
      item.append(button(words.send_here, () => ((record.base = here), again()), record.about));
    else if (record.state !== "ended") item.append(button(words.send, again, record.about));
    if (waits(record) && !takesBack(record) && !all.some((r) => takesBack(r) === record.token))
      item.append(button(words.back_out, async () => (await backOut(record), await sendAll()), record.about));
    if (record.state === "refused" || record.state === "ended") {
      const drop = button(words.drop, async () => {
        if (drop.dataset.sure) {
          await remove(record);
          await show();
        } else {
          drop.dataset.sure = "yes";
          drop.firstChild.textContent = words.drop_sure;
        }
      }, record.about);
      item.append(drop);
    }
    return item;
  }

  async function show() {
    const all = await records();
    panel.hidden = !all.length && !written.length;
    panel.querySelector("ul").replaceChildren(
      ...Array.from(new Set(written)).map((line) => element("li", line)),
      ...all.map(row),
    );
  }

  function lost() {
    connected = false;
    const lines = [
      words.lost,
      fill(words.age, { time: clock(loaded), age: span(Date.now() - loaded) }),
      words.go_on,
      navigator.serviceWorker && navigator.serviceWorker.controller ? words.installed : words.keep_open,
    ];
    const text = lines.join("\n");
    if (signal.dataset.text !== text) {
      signal.replaceChildren(...lines.map((line) => element("p", line)));
      signal.dataset.text = text;
    }
    signal.hidden = false;
  }

  // Take note of an answer; false where the signal went while it was on its way: to load the page
  // then would lose it.
  function found() {
    if (!navigator.onLine) return false;
    const old = !connected || document.documentElement.dataset.stored;
    connected = true;
    delete signal.dataset.text;
    if (old) offer(words.back);
    return true;
  }

  // Load the page again, or offer to: where somebody has typed, where entries are on their way, and
  // where the same kept copy came again because the network is too slow for the page.
  function offer(why) {
    if (!typed && !sending && sessionStorage.getItem("reloaded") !== String(loaded)) {
      sessionStorage.setItem("reloaded", String(loaded));
      // the farmer's page says what is new; a driver's would change without a word
      if (why === words.orders && panel.dataset.name) sessionStorage.setItem("changed", why);
      location.reload();
      return;
    }
    signal.replaceChildren(element("p", why), element("a", words.reload, { href: location.href }));
    signal.hidden = false;
  }

  // Send what waits, else look for the connection and new orders; whether the planner is busy.
  async function sendOrAsk() {
    if ((await records()).some((r) => r.state === "waiting")) {
      await sendAll();
      return false;
    }
    try {
      const ask = { cache: "no-store", signal: AbortSignal.timeout(PATIENCE_MS) };
      const answer = await fetch(panel.dataset.alive, ask);
      if (!found()) return false;
      // a page of the farmer's leads to the login once its session has ended
      if (answer.status !== 200 || answer.redirected || !panel.dataset.plan) return false;
      const { plan, since, busy } = await answer.json();
      const searching = document.getElementById("searching");
      if (searching && !busy) searching.remove();
      if (String(plan) !== panel.dataset.plan) offer(words.orders);
      else if (since !== undefined && String(since) !== panel.dataset.since) offer(words.since);
      return busy;
    } catch {
      lost();
      return false;
    }
  }

  async function look() {
    if (document.hidden) return;
    const busy = await sendOrAsk();
    clearTimeout(soon);
    if (busy) soon = setTimeout(look, BUSY_S * 1000);
  }

  async function keepPages() {
    if (!navigator.serviceWorker) return; // http on a network: only https lets a phone keep pages
    try {
      await navigator.serviceWorker.register("/service_worker.js");
      const worker = (await navigator.serviceWorker.ready).active;
      const pages = panel.dataset.pages.split(" ").filter(Boolean);
      worker.postMessage({ keep: pages.map((p) => new URL(p, location.origin).href) });
    } catch (error) {
      console.warn(error);
    }
  }

  // Whoever has logged out leaves no orders on the phone; entries that wait stay until they are sent.
  if (signal.hasAttribute("data-logged-out") && window.caches) caches.delete("pages");

  document.addEventListener("submit", submitted);
  document.addEventListener("input", () => (typed = true));
  addEventListener("online", look);
  addEventListener("offline", lost);
  document.addEventListener("visibilitychange", look);
  setInterval(look, TRY_S * 1000);
  for (const copy of document.querySelectorAll("button.copy")) {
    if (!navigator.clipboard) continue; // asks for https, or this machine itself
    copy.hidden = false;
    copy.addEventListener("click", async () => {
      await navigator.clipboard.writeText(copy.dataset.copy);
      copy.textContent = copy.dataset.done;
    });
  }
  const changed = sessionStorage.getItem("changed");
  if (changed) {
    sessionStorage.removeItem("changed");
    signal.replaceChildren(element("p", changed));
    signal.hidden = false;
  }
  if (document.documentElement.dataset.stored) lost();
  show().then(look).then(keepPages);
})();
