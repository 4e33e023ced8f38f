"use strict";
// Without this script every form still works. With it, a tap made out of reach waits on this phone and is
// sent later, once: its key makes it count once however often it arrives.
(() => {
  const KEPT = "coldbrood.taps", EVERY_MS = 15000, AGAIN_MS = 5000, SOON_MS = 300, LIMIT_MS = 12000;
  const body = document.body, main = document.getElementById("main"), line = document.getElementById("line");
  let seenAt = document.getElementById("at").textContent, away = false, sending = false, dirty = false, pressed = false, timer = 0;

  const stored = () => {
    try { return JSON.parse(localStorage.getItem(KEPT)) || []; } catch { return memory; }
  };
  let memory = [];
  const store = (taps) => {
    memory = taps;
    try { localStorage.setItem(KEPT, JSON.stringify(taps)); } catch { /* private mode: this page alone */ }
  };
  const newKey = () => {
    const bytes = crypto.getRandomValues(new Uint8Array(9));
    return "tap-" + Date.now() + "-" + Array.from(bytes, (b) => b.toString(16).padStart(2, "0")).join("");
  };

  const say = (text, well) => {
    line.textContent = text;
    line.hidden = !text;
    line.classList.toggle("well", !!well);
  };
  const show = () => {
    const waiting = stored().length;
    const said = [];
    if (away) said.push(body.dataset.away + " " + seenAt + ".");
    if (waiting) said.push(waiting + " " + body.dataset.unsent + " " + stored().map((t) => t.says).join(", "));
    body.classList.toggle("away", away);
    if (said.length || !line.classList.contains("well")) say(said.join(" "));
  };
  const reached = (ok) => { if (away === ok) { away = !ok; } show(); };

  const fetched = (path, options) => {
    const stop = new AbortController(), limit = setTimeout(() => stop.abort(), LIMIT_MS);
    return fetch(path, { ...options, signal: stop.signal, cache: "no-store" }).finally(() => clearTimeout(limit));
  };

  async function send() {
    if (sending) return;
    sending = true;
    try {
      for (let taps = stored(); taps.length; taps = stored()) {
        const tap = taps[0], form = new URLSearchParams(tap.fields);
        const since = (Date.now() - tap.at) / 60000;
        form.set("ago_min", (parseFloat(tap.fields.ago_min || "0") + Math.max(0, since)).toFixed(2));
        form.set("proof", proof() || tap.fields.proof);
        let reply;
        try {
          reply = await fetched("/act", { method: "POST", body: form, headers: { Accept: "application/json" } });
        } catch { reached(false); break; }
        if (reply.status === 503 || reply.status >= 500 || reply.status === 429) { reached(true); break; }
        store(stored().filter((other) => other.key !== tap.key));
        const told = await reply.json().catch(() => ({ fault: reply.status + "" }));
        away = false;
        if (told.kept) { say(body.dataset.kept + " " + tap.says, true); } else { say(body.dataset.notKept + " " + (told.fault || "")); }
        await renew(true);
      }
    } finally {
      sending = false;
      if (stored().length) setTimeout(send, AGAIN_MS);
    }
  }
  const proof = () => { const field = document.querySelector("form.tap input[name=proof]"); return field && field.value; };

  document.addEventListener("submit", (event) => {
    const form = event.target;
    if (!form.classList.contains("tap")) return;
    event.preventDefault();
    const data = new FormData(form, event.submitter), fields = {};
    for (const [name, value] of data) fields[name] = value;
    fields.key = newKey();
    const legend = form.querySelector("legend"), button = event.submitter;
    const says = [legend && legend.textContent.split(":")[0], button && button.textContent].filter(Boolean).join(", ");
    store([...stored(), { key: fields.key, at: Date.now(), fields, says }]);
    if (button) { button.disabled = true; setTimeout(() => { button.disabled = false; }, 1500); }
    form.reset();
    dirty = false;
    for (const details of main.querySelectorAll("details.tells[open]")) details.open = false;
    say("");
    line.classList.remove("well");
    show();
    send();
  });

  // What is half filled in is not swept away by fresh figures, nor a button from under the finger.
  main.addEventListener("input", () => { dirty = true; });
  main.addEventListener("pointerdown", () => { pressed = true; });
  for (const over of ["pointerup", "pointercancel"]) addEventListener(over, () => setTimeout(() => { pressed = false; }));

  async function renew(now) {
    clearTimeout(timer);
    const live = main.dataset.live;
    try {
      if (live && !dirty && (now || !document.hidden)) {
        const reply = await fetched(live + (live.includes("?") ? "&" : "?") + "part=1", { headers: { Accept: "text/html" } });
        if (reply.status === 401) { location.reload(); return; }
        if (!reply.ok) throw new Error(reply.status);
        const part = document.createElement("div");
        part.innerHTML = await reply.text();
        if (pressed || dirty) { timer = setTimeout(renew, SOON_MS, now); return; }
        const fresh = part.firstElementChild, open = new Set(Array.from(main.querySelectorAll("details[open][id]"), (d) => d.id));
        seenAt = fresh.dataset.at;
        document.getElementById("at").textContent = seenAt;
        main.replaceChildren(...fresh.childNodes);
        for (const id of open) { const again = document.getElementById(id); if (again) again.open = true; }
        reached(true);
        if (line.classList.contains("well")) setTimeout(() => { line.classList.remove("well"); show(); }, 4000);
      }
    } catch { reached(false); }
    timer = setTimeout(renew, away ? AGAIN_MS : EVERY_MS);
  }

  addEventListener("online", () => { send(); renew(true); });
  addEventListener("offline", () => reached(false));
  addEventListener("pageshow", (event) => { if (event.persisted) renew(true); });
  document.addEventListener("visibilitychange", () => { if (!document.hidden) { renew(true); send(); } });
  show();
  send();
  timer = setTimeout(renew, EVERY_MS);
})();
