"use strict";
// The camera's pictures go to the service one at a time, as fast as they are answered; it keeps none.
const at = (id) => document.getElementById(id);
const STEP_MS = 70, HEIGHT = 480, QUALITY = 0.7;
const COIL = { turned_away: "turned away", only_bent: "only bent", not_loaded: "not loaded yet",
  undecided: "turned or bent: cannot be told yet" };
const ENDED = { unauthenticated: "This key is not known.", forbidden: "This key may not have films analysed.",
  busy: "Others are being watched; try again in a minute.", not_running: "Nothing looks at pictures here; ask whoever runs the service.",
  rate_limited: "Too many pictures; start again.", too_long: "A quarter of an hour is over; start again." };
let socket = null, stream = null, sound = null, answered = [];

function say(text) { at("state").textContent = text; }

function tone(share, goal) {
  if (!sound) return;
  const near = Math.max(0, Math.min(1, 1 - (goal - share) / 0.3));
  const now = sound.context.currentTime;
  sound.oscillator.frequency.setTargetAtTime(share >= goal ? 660 : 220 + 220 * near, now, 0.05);
  sound.gain.gain.setTargetAtTime(at("tone").checked && share > 0 ? 0.08 : 0, now, 0.05);
}

function show(message) {
  const goal = Number(at("goal").value) / 100;
  answered = [...answered.slice(-20), performance.now()];
  if (answered.length > 5) {
    at("rate").textContent = (1000 * (answered.length - 1) / (answered[answered.length - 1] - answered[0])).toFixed(1);
  }
  if (message.rear_share === undefined) {
    at("share").textContent = "–";
    at("fill").style.width = "0";
    say(message.reason ? "From here the weight cannot be told; put the camera at the side." : "Looking.");
    tone(0, goal);
    return;
  }
  const share = message.rear_share;
  at("share").textContent = Math.round(100 * share) + " %";
  at("between").textContent = Math.round(100 * message.rear_share_low) + " to " + Math.round(100 * message.rear_share_high) + " %";
  at("fill").style.width = (100 * share).toFixed(1) + "%";
  at("fill").className = share >= goal ? "held" : "";
  at("bar").setAttribute("aria-valuenow", String(Math.round(100 * share)));
  at("held").textContent = message.held_s.toFixed(1) + " s";
  at("coil").textContent = COIL[message.coil];
  at("goalmark").style.left = (100 * goal) + "%";
  say(share >= goal ? "Hold it there." : "More weight over the rear foot.");
  tone(share, goal);
}

function grab(video, canvas) {
  const scale = Math.min(1, HEIGHT / video.videoHeight);
  canvas.width = Math.round(video.videoWidth * scale);
  canvas.height = Math.round(video.videoHeight * scale);
  canvas.getContext("2d").drawImage(video, 0, 0, canvas.width, canvas.height);
  return new Promise((done) => canvas.toBlob(done, "image/jpeg", QUALITY));
}

function stop(text) {
  if (socket) { const old = socket; socket = null; old.close(); }
  if (stream) stream.getTracks().forEach((track) => track.stop());
  if (sound) sound.context.close();
  stream = sound = null;
  at("start").textContent = "Start";
  say(text);
}

async function start() {
  if (socket) { stop("Stopped."); return; }
  try {
    stream = await navigator.mediaDevices.getUserMedia({ video: { height: { ideal: HEIGHT }, facingMode: "environment" } });
  } catch (error) {
    stop("No camera: " + error.name + ".");
    return;
  }
  const video = at("video"), canvas = document.createElement("canvas");
  video.srcObject = stream;
  await video.play();
  const context = new AudioContext(), oscillator = context.createOscillator(), gain = context.createGain();
  gain.gain.value = 0;
  oscillator.connect(gain).connect(context.destination);
  oscillator.start();
  sound = { context, oscillator, gain };
  const mine = new WebSocket(location.origin.replace(/^http/, "ws") + "/v1/live-hold");
  socket = mine;
  at("start").textContent = "Stop";
  answered = [];
  mine.onopen = () => mine.send(JSON.stringify({ key: at("key").value, handedness: at("hand").value,
    goal: Number(at("goal").value) / 100 }));
  mine.onmessage = async (event) => {
    const message = JSON.parse(event.data), since = performance.now();
    if (message.reading) show(message);
    const picture = await grab(video, canvas);
    const wait = Math.max(0, STEP_MS - (performance.now() - since));
    setTimeout(() => { if (socket === mine && mine.readyState === 1) mine.send(picture); }, wait);
  };
  mine.onclose = (event) => { if (socket === mine) { socket = null; stop(ENDED[event.reason] || "The connection ended."); } };
  say("Stand still in your stance for a second, then load and hold.");
}

at("start").addEventListener("click", start);
at("goal").addEventListener("input", () => { at("goalmark").style.left = at("goal").value + "%"; });
