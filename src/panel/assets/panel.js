// Keeps a page of the panel live, and sends what its buttons ask. Decides nothing: every answer
// is the program's.
"use strict";
(() => {
  const body = document.body;
  const page = body.dataset.page;
  const lost = document.querySelector(".lost");
  const said = document.querySelector(".said");
  const shown = (name) => document.querySelectorAll(`[data-live="${name}"]`);
  const turn = () => (shown("turn")[0] || { textContent: "0" }).textContent || "0";
  const newId = () => Array.from(crypto.getRandomValues(new Uint8Array(16)),
    (byte) => byte.toString(16).padStart(2, "0")).join("");

  // Texts that stand inside markup which was replaced are put in anew.
  const texts = new Map();
  function put(name, piece) {
    for (const element of shown(name)) {
      if ("text" in piece) element.textContent = piece.text;
      else if ("html" in piece) {
        // What was checked and is so no longer is to be ticked anew.
        const ticks = element.innerHTML && !piece.html && element.dataset.ticks;
        if (ticks) document.getElementById(ticks).reset();
        element.innerHTML = piece.html;
      }
      else element.dataset.mark = piece.mark;
    }
  }
  function apply(changed) {
    const html = [];
    for (const [name, piece] of Object.entries(changed)) {
      if ("html" in piece) html.push([name, piece]);
      else texts.set(name, piece);
    }
    for (const [name, piece] of html) put(name, piece);
    if (html.length) for (const [name, piece] of texts) put(name, piece);
    else for (const [name, piece] of Object.entries(changed)) put(name, piece);
  }

  // A value that is no longer live must not look so.
  let seen = 0;
  let stream = null;
  const lostWords = lost ? lost.textContent : "";
  function isLost(so, words) {
    if (lost) {
      if (!so || words) lost.textContent = words || lostWords;
      lost.hidden = !so;
    }
    body.classList.toggle("stale", so);
  }
  function silence() {
    if (stream) stream.close();
    stream = null;
  }
  function listen() {
    silence();
    // A browser has six connections to one place, for all its pages together: one that nobody sees
    // gives its own back, and of those that are seen no more than three are live, so that a stop
    // always finds one.
    if (document.hidden) return;
    stream = new EventSource(`/live?page=${page}`);
    stream.onopen = () => { if (refound) again(); };
    stream.onmessage = (event) => {
      seen = performance.now();
      isLost(false);
      apply(JSON.parse(event.data).changed);
    };
    stream.addEventListener("over", () => location.assign("/sign-in"));
    // There is no place for one more page: asking again and again would not make one.
    stream.addEventListener("busy", (event) => { silence(); isLost(true, event.data); });
    stream.onerror = () => {
      isLost(true, lostWords);
      refound = true;
      if (stream.readyState === EventSource.CLOSED) again();
    };
  }
  // A program that was started anew knows nothing of this page's session: what the page asks would
  // all be refused. Loaded anew it comes as one that can ask, or as the sign-in, where Stop is too.
  let refound = false;
  async function again() {
    try {
      const answer = await fetch("/session", { redirect: "manual", signal: AbortSignal.timeout(2000) });
      const asksForSignIn = answer.type === "opaqueredirect";
      if (asksForSignIn || (answer.ok && (await answer.json()).form !== body.dataset.form)) {
        location.reload();
        return;
      }
      refound = !answer.ok;
    } catch { /* It is not there yet. */ }
    if (!stream || stream.readyState === EventSource.CLOSED) setTimeout(listen, 2000);
  }
  setInterval(() => { if (performance.now() - seen > 2000) isLost(true); }, 500);
  document.addEventListener("visibilitychange", () => { if (document.hidden) silence(); else listen(); });
  // A page that was left is kept by the browser for a while, with its connections.
  window.addEventListener("pagehide", silence);
  window.addEventListener("pageshow", (event) => { if (event.persisted) location.reload(); });

  let hush = 0;
  function tell(reply) {
    if (!said) return;
    const words = [reply.answer, reply.why].filter(Boolean).join(": ");
    said.textContent = reply.help ? `${words}. ${reply.help}` : words;
    const done = ["accepted", "already so", "asked"].includes(reply.answer);
    // One word stands where it covers nothing, and not for long.
    const short = done && words === reply.answer;
    said.dataset.mark = short ? "word" : done ? "done" : "refused";
    said.hidden = false;
    clearTimeout(hush);
    // What was refused stays until it is touched, or something else is said.
    if (done) hush = setTimeout(() => { said.hidden = true; }, short ? 1200 : 4000);
  }
  if (said) said.addEventListener("click", () => { said.hidden = true; });
  async function post(to, fields) {
    const form = new URLSearchParams({ ...fields, turn: turn(), form: body.dataset.form, id: newId() });
    try {
      const answer = await fetch(to, { method: "POST", body: form, redirect: "manual" });
      if (answer.type === "opaqueredirect") { location.assign("/sign-in"); return null; }
      const text = await answer.text();
      let reply;
      try { reply = JSON.parse(text); } catch { reply = { answer: "refused", why: text }; }
      tell(reply);
      return reply;
    } catch {
      tell({ answer: "not sent", why: "the panel cannot be reached; use the buttons at the machine" });
      return null;
    }
  }

  // A second tap of a gloved finger is no second wish; what only takes away is never kept waiting.
  const tapped = new Map();
  const ALWAYS = ["hold", "abort"];
  function isSecondTap(button) {
    const data = button.dataset;
    if (ALWAYS.includes(data.ask)) return false;
    const wish = [data.ask, data.value, data.seat, data.prove, data.show, data.teach].join(" ");
    // Short steps are meant to be tapped several times, and instructions follow one another.
    const within = { "touch-up": 3000, "pass-less": 3000, nudge: 120, trim: 120 }[data.ask] || (data.prove ? 250 : 600);
    const before = tapped.get(wish);
    const now = performance.now();
    if (before !== undefined && now - before < within) return true;
    tapped.set(wish, now);
    return false;
  }

  document.addEventListener("click", (event) => {
    const button = event.target.closest("button");
    if (!button || button.disabled || button.type === "submit" || isSecondTap(button)) return;
    if (button.dataset.sure && !confirm(button.dataset.sure)) return;
    if (button.dataset.ask) post("/ask", { ask: button.dataset.ask, value: button.dataset.value || "" });
    else if (button.dataset.seat) post("/seat", { act: button.dataset.seat });
    else if (button.dataset.prove) post("/prove", { prove: button.dataset.prove });
    else if (button.dataset.show) {
      const form = document.getElementById(button.dataset.with);
      show(button.dataset.show, new URLSearchParams(form ? new FormData(form) : ""),
        document.getElementById(button.dataset.into));
    } else if (button.dataset.teach) {
      post("/teach", { act: button.dataset.teach, value: button.dataset.value || "" });
    }
  });
  const sent = new Set();
  document.addEventListener("submit", (event) => {
    const form = event.target;
    if (form.dataset.stop !== undefined) {
      event.preventDefault();
      tell({ answer: "asked", why: "stop" });
      stop();
    } else if (form.dataset.post) {
      event.preventDefault();
      const sure = event.submitter && event.submitter.dataset.sure;
      if (sure && !confirm(sure)) return;
      // What is told twice by a second tap would stand twice in the records.
      if (sent.has(form)) return;
      sent.add(form);
      const fields = Object.fromEntries(new FormData(form, event.submitter));
      post(form.dataset.post, fields).then((reply) => {
        // The field that was refused is shown; what was typed stays.
        for (const one of form.querySelectorAll("[aria-invalid]")) one.removeAttribute("aria-invalid");
        const wrong = reply && reply.field && form.elements.namedItem(reply.field);
        if (wrong instanceof HTMLElement) { wrong.setAttribute("aria-invalid", "true"); wrong.focus(); }
        const isDone = reply && reply.answer === "accepted";
        setTimeout(() => sent.delete(form), isDone ? 600 : 0);
        if (isDone) {
          if (form.dataset.then) location.assign(form.dataset.then);
          else if (form.dataset.post === "/units") location.reload();
          else if (form.dataset.clears !== undefined) form.reset();
        }
      });
    }
  });

  // Without anything that could be refused; who waits in vain is told so soon. A connection that is
  // cut off among many others is made anew: a stop asked for twice is one.
  async function stop() {
    const end = performance.now() + 1500;
    for (;;) {
      try {
        const signal = AbortSignal.timeout(Math.max(0, end - performance.now()));
        const answer = await fetch("/stop", { method: "POST", signal });
        return tell(await answer.json());
      } catch {
        tell({ answer: "NOT ANSWERED", why: "use the stop at the machine" });
      }
      if (performance.now() >= end) return;
      await new Promise((done) => setTimeout(done, 50));
    }
  }

  // What takes its time is shown when it has come.
  async function show(to, fields, into) {
    into.setAttribute("aria-busy", "true");
    try {
      const answer = await fetch(to, { method: "POST", body: fields });
      into.innerHTML = await answer.text();
    } catch {
      tell({ answer: "not sent", why: "the panel cannot be reached" });
    } finally {
      into.removeAttribute("aria-busy");
    }
  }

  // A draft is tried a moment after its last change. One that is tried anew needs its answer no
  // more, nor the connection that it would come by.
  for (const form of document.querySelectorAll("[data-draft]")) {
    const into = document.getElementById(form.dataset.into);
    let soon = 0;
    let trying = new AbortController();
    form.addEventListener("input", () => {
      clearTimeout(soon);
      soon = setTimeout(async () => {
        trying.abort();
        const mine = trying = new AbortController();
        into.setAttribute("aria-busy", "true");
        try {
          const answer = await fetch(form.dataset.draft, { method: "POST", signal: mine.signal,
            body: new URLSearchParams(new FormData(form)) });
          const html = await answer.text();
          if (mine === trying) into.innerHTML = html;
        } catch {
          if (mine === trying) tell({ answer: "not sent", why: "the panel cannot be reached" });
        } finally {
          if (mine === trying) into.removeAttribute("aria-busy");
        }
      }, 500);
    });
  }

  // Hold to run: signs go out while the key is held, each with the newest pulse that came in.
  // Whatever ends the holding (finger off, page hidden, line lost) ends the signs.
  const SIGN_EVERY = 40;
  let line = null;
  let pulse = 0;
  let held = null;
  let signs = 0;
  function sign(key) {
    if (line && line.readyState === 1) {
      line.send(JSON.stringify({ key, pulse, turn: Number(turn()) }));
    }
  }
  function letGo() {
    if (!held) return;
    held.classList.remove("held");
    held = null;
    clearInterval(signs);
    sign("released");
  }
  function open() {
    line = new WebSocket(`${location.protocol === "https:" ? "wss" : "ws"}://${location.host}/jog`);
    line.onmessage = (event) => {
      const told = JSON.parse(event.data);
      if (told.pulse) pulse = told.pulse;
      if (told.let_go) { letGo(); tell({ answer: "refused", why: told.let_go }); }
    };
    line.onclose = () => { letGo(); setTimeout(open, 1000); };
  }
  function press(button) {
    letGo();
    held = button;
    button.classList.add("held");
    sign(button.dataset.jog);
    signs = setInterval(() => sign("held"), SIGN_EVERY);
  }
  if (document.querySelector("[data-jog]")) {
    open();
    document.addEventListener("pointerdown", (event) => {
      const button = event.target.closest("[data-jog]");
      if (button && event.isPrimary) {
        event.preventDefault();
        // A finger belongs to what it touched first, and sliding off would tell nobody.
        if (event.target.hasPointerCapture(event.pointerId)) event.target.releasePointerCapture(event.pointerId);
        press(button);
      }
    });
    // A browser that does not yet know whether a touch will scroll holds the page's timers back, and
    // the signs of a held key with them.
    document.addEventListener("touchstart", (event) => {
      if (event.target.closest("[data-jog]")) event.preventDefault();
    }, { passive: false });
    document.addEventListener("keydown", (event) => {
      const button = event.target.closest("[data-jog]");
      if (button && (event.key === " " || event.key === "Enter")) {
        event.preventDefault();
        if (!event.repeat) press(button);
      }
    });
    for (const name of ["pointerup", "pointercancel", "keyup", "blur"]) {
      window.addEventListener(name, letGo);
    }
    document.addEventListener("pointerout", (event) => {
      // Out of the key, also from a sign inside it.
      if (held && held.contains(event.target) && !held.contains(event.relatedTarget)) letGo();
    });
    document.addEventListener("visibilitychange", () => { if (document.hidden) letGo(); });
    document.addEventListener("contextmenu", (event) => {
      if (event.target.closest("[data-jog]")) event.preventDefault();
    });
  }
  listen();
})();
