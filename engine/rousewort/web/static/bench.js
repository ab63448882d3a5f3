/* Taps that no dead signal can swallow. A tap is first kept in the browser's own store, then sent; what was not answered
   waits, survives closing the page, and goes over in the order of tapping. The token of its form (`once`) lets the ledger
   tell a second sending from a second deed, so sending again is always safe. Works over plain http; without this file the
   forms work as ever. */
"use strict";
(() => {
  const KEPT = "rousewort-waiting", NAME = document.body.dataset.device || "", PATIENCE_MS = 6000, QUICK_MS = 2000;
  let store;
  try { store = window.localStorage; store.setItem(KEPT + "-try", "1"); } catch { return; } // none: forms as ever
  const box = document.getElementById("waiting");
  const waiting = () => JSON.parse(store.getItem(KEPT) || "[]");
  const change = (how) => { const all = waiting(); how(all); store.setItem(KEPT, JSON.stringify(all)); show(); };
  const drop = (act) => change((all) => { const i = all.findIndex((one) => one.once === act.once); if (i >= 0) all.splice(i, 1); });
  const keep = (act) => change((all) => { const i = all.findIndex((one) => one.once === act.once); if (i >= 0) all[i] = act; });
  const ask = (path, options, patience = PATIENCE_MS) => fetch(path, { ...options, cache: "no-store", credentials: "same-origin", signal: AbortSignal.timeout(patience) });
  const two = (n) => String(n).padStart(2, "0");
  const fresh = () => Array.from(crypto.getRandomValues(new Uint8Array(12)), (n) => two(n.toString(16))).join("");

  function element(kind, text, more) { return Object.assign(document.createElement(kind), { textContent: text }, more); }

  function show() {
    const all = waiting();
    box.hidden = !all.length;
    box.replaceChildren();
    if (!all.length) return;
    box.append(element("p", `${all.length} waiting on this device. They go over by themselves, in order.`));
    const list = box.appendChild(element("ol", ""));
    for (const act of all) {
      const line = list.appendChild(element("li", `${act.code}: ${act.told}, ${act.day} ${act.time}`));
      if (!act.trouble) continue;
      line.append(element("p", act.trouble.text, { className: "care" }));
      if (act.trouble.state === "conflict") line.append(button("Record mine too", () => settle(act, { turn: String(act.trouble.turn) })));
      if (act.trouble.state === "ask") {
        const why = line.appendChild(element("input", "", { placeholder: "Why" }));
        why.setAttribute("aria-label", `${act.code}: why all the same`);
        line.append(button("Record it all the same", () => why.value.trim() && settle(act, { why: why.value.trim() })));
      }
      line.append(button("Leave mine out", () => drop(act)));
    }
  }
  const button = (text, deed) => element("button", text, { type: "button", onclick: deed });
  function settle(act, more) {
    act.fields = act.fields.filter(([key]) => !(key in more)).concat(Object.entries(more));
    delete act.trouble;
    keep(act);
    send();
  }

  /* A fresh token of the pages: the one in an open page dies with the server that gave it. */
  async function pass() {
    const answer = await ask("/pass");
    if (answer.redirected || !answer.ok) throw new Error("sign in");
    return (await answer.json()).csrf_token;
  }

  async function over(act, csrf) {
    const body = new URLSearchParams([...act.fields, ["csrf_token", csrf], ["day", act.day], ["time", act.time], ["device", NAME]]);
    const answer = await ask(`/batch/${encodeURIComponent(act.code)}/${act.what}/kept`, { method: "POST", body });
    if (answer.redirected || !(answer.headers.get("Content-Type") || "").startsWith("application/json")) throw new Error("not now");
    return answer.json();
  }

  /* All that waits, one after another. What is in trouble waits for a word, and later deeds on its batch wait behind it.
     Only one page at a time: the others see it by the lock, which a page that died leaves open after a while. */
  let busy = false, then = ""; // `then`: the page to show when all has gone over
  async function send() {
    if (busy || Number(store.getItem(KEPT + "-lock") || 0) > Date.now()) return;
    busy = true;
    try {
      const csrf = waiting().some((act) => !act.trouble) ? await pass() : "";
      for (let held = new Set(), act; (act = waiting().find((one) => !one.trouble && !held.has(one.code)));) {
        const before = waiting().find((one) => one.code === act.code);
        if (before.once !== act.once) { held.add(act.code); continue; }
        store.setItem(KEPT + "-lock", String(Date.now() + PATIENCE_MS));
        const said = await over(act, csrf);
        if (said.state === "done") {
          const seen = Number(act.fields.find(([key]) => key === "turn")[1]);
          change((all) => { // those tapped on the same page have now seen this one too
            const i = all.findIndex((one) => one.once === act.once);
            if (i < 0) return; // another page of this device saw to it
            all.splice(i, 1);
            for (const one of all) if (one.code === act.code) for (const field of one.fields) if (field[0] === "turn" && Number(field[1]) >= seen) field[1] = String(Number(field[1]) + 1);
          });
        } else keep({ ...act, trouble: said });
      }
    } catch { /* no signal, or not signed in: it waits */ } finally {
      busy = false;
      store.removeItem(KEPT + "-lock");
    }
    if (then && !waiting().length) location.assign(then);
  }

  document.addEventListener("submit", async (event) => {
    const form = event.target, [, code, what] = new URL(form.action).pathname.match(/^\/batch\/([^/]+)\/(check|move|sow|count|wait|note|discard|close)$/) || [];
    if (!code || form.dataset.plain) return;
    event.preventDefault();
    const fields = [...new FormData(form, event.submitter)].filter(([key]) => key !== "csrf_token");
    const now = new Date(), told = (event.submitter?.textContent || what).trim();
    const act = { code, what, told, fields, once: form.elements.once.value, day: `${now.getFullYear()}-${two(now.getMonth() + 1)}-${two(now.getDate())}`, time: `${two(now.getHours())}:${two(now.getMinutes())}` };
    const first = !waiting().length;
    change((all) => all.push(act));
    const page = document.getElementById("main");
    page.inert = true; // dimmed: a second tap meanwhile would be the same deed, and is not taken
    const there = first && await ask("/pass", {}, QUICK_MS).then((answer) => answer.ok, () => false);
    if (there) {
      busy = true; // this page sends nothing more
      // The bench answers: the form goes as it is, and its page follows. Should that fail, the act still waits here.
      if (event.submitter?.name) form.append(element("input", "", { type: "hidden", name: event.submitter.name, value: event.submitter.value }));
      form.submit();
      return;
    }
    page.inert = false;
    form.elements.once.value = fresh(); // the next tap on this form is another deed
    then = fields.some(([key, text]) => key === "back" && text === "due") ? "/" : `/batch/${code}`;
    send();
  });

  window.addEventListener("online", send);
  document.addEventListener("visibilitychange", () => document.hidden || send());
  setInterval(send, 5000);
  // What was sent as a form is answered by this page: if its token is known to the ledger it is done, else it is asked.
  const answered = document.body.dataset.refused;
  if (answered) change((all) => { const i = all.findIndex((one) => one.once === answered); if (i >= 0) all.splice(i, 1); });
  show();
  send();
})();
