"use strict";
// Sends films in parts by the tus protocol 1.0.0 and goes on by itself after a broken connection.
// What is needed to go on after a reload is kept in this browser: consent and addresses, no films.
(() => {
  const data = JSON.parse(document.getElementById("data").textContent);
  const say = (key, values = {}) =>
    data.words[key].replace(/\{(\w+)\}/g, (_, name) => values[name] ?? "");
  const here = location.pathname.replace(/\/$/, "");
  const find = (id) => document.getElementById(id);
  const STORE = `intake ${data.link}`;
  const SPOKEN = { "Tus-Resumable": "1.0.0" };
  const SMALLEST = 64 * 1024, FIRST = 256 * 1024, LARGEST = 4 * 1024 * 1024; // bytes of a part
  const SILENCE_MS = 30000; // a connection that moves nothing for so long is given up
  const LONGEST_WAIT_S = 30;

  const kept = () => {
    try { return JSON.parse(localStorage.getItem(STORE)) || {}; } catch { return {}; }
  };
  const keep = (change) => {
    try { localStorage.setItem(STORE, JSON.stringify({ ...kept(), ...change })); } catch { /* private mode: no going on after a reload */ }
  };

  const message = (text) => {
    find("message").textContent = text;
    find("message").hidden = !text;
  };
  const detail = async (reply) => {
    try { return (await reply.json()).detail || say("failed"); } catch { return say("failed"); }
  };

  // ---- consent -----------------------------------------------------------------------------
  let consent = null;
  const showSending = () => {
    find("consent").hidden = Boolean(consent);
    find("sending").hidden = !consent;
    if (consent) {
      find("agreed").textContent = say("agreed", { name: consent.name, version: consent.version });
      find("other").hidden = false;
    }
  };
  const forgetConsent = () => { consent = null; keep({ consent: null }); showSending(); };
  find("other").addEventListener("click", forgetConsent);
  find("agree").addEventListener("submit", async (event) => {
    event.preventDefault();
    message("");
    const form = new FormData(find("agree"));
    const button = find("agree").querySelector("button");
    button.disabled = true;
    try {
      const reply = await fetch(`${here}/consents`, {
        method: "POST",
        headers: { "Content-Type": "application/json" },
        body: JSON.stringify({
          given_by: form.get("given_by"), name: form.get("name").trim(), version: data.version,
        }),
      });
      if (!reply.ok) { message(await detail(reply)); return; }
      consent = await reply.json();
      keep({ consent });
      showSending();
      films.filter((film) => film.state === "failed").forEach((film) => film.resume());
    } catch {
      message(say("offline_now"));
    } finally {
      button.disabled = false;
    }
  });

  // ---- one film ----------------------------------------------------------------------------
  const films = [];
  const size = (bytes) => {
    const mega = bytes / 1e6;
    return `${mega.toLocaleString(document.documentElement.lang, { maximumFractionDigits: mega < 10 ? 1 : 0 })} MB`;
  };

  class Film {
    constructor(file) {
      this.file = file;
      this.mark = `${file.name} ${file.size} ${file.lastModified}`;
      this.sent = 0;
      this.part = FIRST;
      this.state = "waiting";
      this.build();
    }

    build() {
      const item = document.createElement("li");
      item.innerHTML = '<div class="name"></div><progress max="1" value="0"></progress>' +
        '<div class="row"><span class="told" role="status"></span><button type="button" class="plain"></button></div>';
      item.querySelector(".name").textContent = this.file.name;
      item.querySelector("progress").setAttribute("aria-label", this.file.name);
      this.item = item;
      item.querySelector("button").addEventListener("click", () => {
        if (this.state === "paused" || this.state === "failed") this.resume(); else this.pause();
      });
      find("films").append(item);
      this.show();
    }

    show(moving = 0, text = null) {
      const at = Math.min(this.file.size, this.sent + moving);
      const bar = this.item.querySelector("progress");
      bar.value = this.file.size ? at / this.file.size : 0;
      const told = this.item.querySelector(".told");
      const amounts = { sent: size(at), all: size(this.file.size), share: Math.floor(100 * bar.value) };
      told.textContent = text ?? say(this.state, amounts);
      told.className = `told ${{ done: "good", refused: "bad", failed: "bad" }[this.state] ?? ""}`;
      const button = this.item.querySelector("button");
      button.hidden = this.state === "done" || this.state === "refused";
      button.textContent = this.state === "paused" || this.state === "failed" ? say("resume") : say("pause");
    }

    set(state, text = null) { this.state = state; this.show(0, text); }
    get idle() { return !["waiting", "sending", "broken"].includes(this.state); }

    pause() { this.set("paused"); this.wake?.(); this.request?.abort(); }
    resume() { this.set("waiting"); next(); }

    get address() { return (kept().uploads || {})[this.mark]; }
    set address(where) {
      const uploads = { ...(kept().uploads || {}) };
      if (where) uploads[this.mark] = where; else delete uploads[this.mark];
      keep({ uploads });
    }

    async run() {
      let failures = 0;
      while (this.state !== "paused") {
        try {
          this.set("sending");
          if (!(await this.stand())) return;
          while (this.sent < this.file.size) {
            if (this.state === "paused") return;
            if (!(await this.sendPart())) return;
            failures = 0;
          }
          return void (await this.ended());
        } catch (error) {
          if (this.state === "paused") return;
          failures += 1;
          this.part = Math.max(SMALLEST, this.part / 2);
          const pause = error.waitS ?? Math.min(LONGEST_WAIT_S, 2 ** (failures - 1));
          this.set("broken");
          await this.rest(pause);
        }
      }
    }

    // Waits; less long when the network comes back or someone presses the button.
    rest(seconds) {
      return new Promise((done) => {
        const timer = setTimeout(() => finish(), 1000 * seconds);
        const finish = () => {
          clearTimeout(timer);
          removeEventListener("online", finish);
          done();
        };
        this.wake = finish;
        addEventListener("online", finish);
      });
    }

    // Learns where to go on, or begins. False: this film cannot be sent.
    async stand() {
      if (this.address) {
        const reply = await this.ask(this.address, { method: "HEAD" });
        if (reply.ok) {
          this.sent = Number(reply.headers.get("Upload-Offset"));
          this.show();
          return true;
        }
        this.address = null; // it has ended: begin anew
      }
      this.sent = 0;
      const pair = `consent ${btoa(consent.id)}`;
      const reply = await this.ask(`${here}/uploads`, {
        method: "POST",
        headers: { "Upload-Length": String(this.file.size), "Upload-Metadata": pair },
      });
      if (reply.status === 201) {
        this.address = new URL(reply.headers.get("Location"), location).pathname;
        return true;
      }
      const text = await detail(reply);
      if (reply.status === 409 && reply.problem === "consent_needed") forgetConsent();
      this.set("failed", text);
      return false;
    }

    async ask(where, options) {
      const abort = new AbortController();
      this.request = abort;
      const timer = setTimeout(() => abort.abort(), SILENCE_MS);
      try {
        const reply = await fetch(where, {
          ...options, signal: abort.signal, cache: "no-store",
          headers: { ...SPOKEN, ...(options.headers || {}) },
        });
        if (reply.status === 429 || reply.status >= 500) throw waiting(reply.headers.get("Retry-After"));
        if (reply.status === 409) {
          const copy = await reply.clone().json().catch(() => ({}));
          Object.defineProperty(reply, "problem", { value: copy.code });
        }
        return reply;
      } finally { clearTimeout(timer); }
    }

    // False: the film was refused.
    async sendPart() {
      const first = this.sent;
      const piece = this.file.slice(first, first + this.part);
      const headers = {
        ...SPOKEN, "Content-Type": "application/offset+octet-stream", "Upload-Offset": String(first),
      };
      if (globalThis.crypto?.subtle) { // only where the page came by https
        const digest = new Uint8Array(await crypto.subtle.digest("SHA-256", await piece.arrayBuffer()));
        headers["Upload-Checksum"] = `sha256 ${btoa(String.fromCharCode(...digest))}`;
      }
      const began = performance.now();
      const request = await this.transfer(headers, piece);
      if (request.status === 204) {
        this.sent = Number(request.getResponseHeader("Upload-Offset"));
        if (performance.now() - began < 2000) this.part = Math.min(LARGEST, this.part * 2);
        this.show();
        return true;
      }
      if (request.status === 429 || request.status >= 500) throw waiting(request.getResponseHeader("Retry-After"));
      let problem = {};
      try { problem = JSON.parse(request.responseText); } catch { /* no problem document */ }
      if (request.status === 409 || request.status === 460) throw new Error("ask where it stands");
      this.address = null;
      const over = problem.code === "link_ended" || problem.code === "upload_gone";
      this.set(over ? "failed" : "refused", problem.detail || say("failed"));
      return false;
    }

    // XMLHttpRequest, since fetch does not tell how much of a body has gone.
    transfer(headers, piece) {
      return new Promise((done, failed) => {
        const request = new XMLHttpRequest();
        this.request = request;
        let timer;
        const alive = () => {
          clearTimeout(timer);
          timer = setTimeout(() => request.abort(), SILENCE_MS);
        };
        request.open("PATCH", this.address);
        for (const [name, value] of Object.entries(headers)) request.setRequestHeader(name, value);
        request.upload.onprogress = (event) => { alive(); this.show(event.loaded); };
        request.upload.onload = () => clearTimeout(timer); // the server is at work on it
        request.onload = () => { clearTimeout(timer); done(request); };
        request.onerror = request.onabort = () => { clearTimeout(timer); failed(new Error("cut")); };
        alive();
        request.send(piece);
      });
    }

    async ended() {
      const reply = await this.ask(this.address, { method: "GET" });
      const upload = await reply.json();
      if (upload.state === "receiving") { // all is there; what follows did not work yet
        await this.transfer({
          ...SPOKEN, "Content-Type": "application/offset+octet-stream",
          "Upload-Offset": String(this.file.size),
        }, new Blob([]));
        throw waiting(null);
      }
      this.address = null;
      if (upload.state === "finished") this.set("done");
      else this.set("refused", upload.problem?.detail || say("failed"));
    }
  }

  const waiting = (seconds) => Object.assign(new Error("wait"), { waitS: Number(seconds) || 5 });

  // ---- all films, one after the other: side by side none would be ready before the last --------
  let running = false;
  async function next() {
    if (running) return;
    running = true;
    for (let film; (film = films.find((one) => one.state === "waiting")); ) await film.run();
    running = false;
  }

  find("choose").addEventListener("change", (event) => {
    message("");
    for (const file of event.target.files) {
      const there = films.find((one) => one.mark === `${file.name} ${file.size} ${file.lastModified}`);
      if (there) { if (there.state === "paused" || there.state === "failed") there.resume(); continue; }
      const film = new Film(file);
      films.push(film);
      if (file.size > data.largest) film.set("refused", say("too_large", { limit: size(data.largest) }));
      if (file.size === 0) film.set("refused", say("empty"));
    }
    event.target.value = "";
    next();
  });
  addEventListener("beforeunload", (event) => {
    if (films.some((film) => !film.idle)) event.preventDefault();
  });

  const before = kept().consent;
  if (before && before.version === data.version && new Date(before.expires_at) > new Date()) {
    consent = before;
    if (Object.keys(kept().uploads || {}).length) message(say("unfinished"));
  }
  showSending();
})();
