// The live view: small frames go to the server, its hints stand over the picture; when all has
// been good for a moment, the full picture is taken and measured.

import { measure } from "/static/upload.js";

const at = (id) => document.getElementById(id);
const token = document.querySelector("meta[name=token]").content;
const form = at("live-form");
const video = at("video");
const stream = Array.from(crypto.getRandomValues(new Uint8Array(8)), (b) => b.toString(16).padStart(2, "0")).join("");
const words = Object.fromEntries([...document.querySelectorAll("[data-hint]")].map((e) => [e.dataset.hint, e.textContent]));
const FRAME_PX = 960;
const GOOD_IN_ROW = 3;
const canvas = document.createElement("canvas");
let camera = null, good = 0, busy = false;

if (!navigator.mediaDevices?.getUserMedia) { at("nocamera").hidden = false; at("start").hidden = true; }

function picture(most, quality) {
  const k = Math.min(1, most / video.videoWidth);
  canvas.width = Math.round(video.videoWidth * k);
  canvas.height = Math.round(video.videoHeight * k);
  canvas.getContext("2d").drawImage(video, 0, 0, canvas.width, canvas.height);
  return new Promise((resolve) => canvas.toBlob(resolve, "image/jpeg", quality));
}

function query() {
  const fields = new URLSearchParams({ stream });
  for (const [name, value] of new FormData(form)) {
    if (value && name !== "token" && typeof value === "string") fields.set(name, value);
  }
  return fields;
}

async function look() {
  if (!camera) return;
  const began = performance.now();
  try {
    const frame = await picture(FRAME_PX, 0.8);
    const answer = await fetch(`/live/frame?${query()}`, {
      method: "POST", body: frame, headers: { "X-Token": token, "Accept": "application/json" },
    });
    const said = await answer.json();
    if (!camera) return;
    if (!answer.ok) { at("hint").textContent = said.message; good = 0; }
    else {
      const [short, ...long] = (said.ready ? "Good" : words[said.hints[0]]).split(": ");
      at("hint").textContent = short;
      at("detail").textContent = long.join(": ");
      at("hint").dataset.hints = said.hints.join(",");
      at("hint").dataset.took = Math.round(performance.now() - began);
      good = said.ready ? good + 1 : 0;
    }
  } catch { at("hint").textContent = "No connection"; good = 0; }
  at("stage").classList.toggle("ready", good > 0);
  if (good >= GOOD_IN_ROW && at("auto").checked) return take();
  setTimeout(look, Math.max(0, 160 - (performance.now() - began)));
}

async function full() {
  const track = camera.getVideoTracks()[0];
  if (window.ImageCapture) {
    try { return await new ImageCapture(track).takePhoto(); } catch { /* the frame has to do */ }
  }
  return picture(8000, 0.95);
}

async function take() {
  if (busy || !camera) return;
  busy = true;
  at("hint").textContent = "Taken";
  const photo = await full();
  stop();
  const data = new FormData(form);
  data.append("photo", photo, "live.jpg");
  await measure(form.action, data);
  busy = false;
}

function stop() {
  camera?.getTracks().forEach((track) => track.stop());
  camera = null;
  good = 0;
  at("stage").hidden = true;
  at("now").hidden = at("stop").hidden = true;
  at("start").hidden = false;
}

at("start").addEventListener("click", async () => {
  try {
    camera = await navigator.mediaDevices.getUserMedia({
      audio: false, video: { facingMode: "environment", width: { ideal: 4096 }, height: { ideal: 3072 } },
    });
  } catch { at("nocamera").hidden = false; return; }
  video.srcObject = camera;
  at("stage").hidden = false;
  at("start").hidden = true;
  at("now").hidden = at("stop").hidden = false;
  await video.play();
  at("stage").scrollIntoView({ block: "start" });
  look();
});
at("now").addEventListener("click", take);
at("stop").addEventListener("click", stop);
