// Fills the box: photos go up a few at a time, the table follows.

import { send, follow, dropInto } from "/static/upload.js";

const at = (id) => document.getElementById(id);
const form = at("fill");
const AT_ONCE = 3;
const queue = [];
let all = 0, done = 0, going = 0, asked = 0, shown = 0;

function fail(name, what) {
  const line = document.createElement("li");
  line.textContent = `${name}: ${what}`;
  at("failures").append(line);
}

async function table() {
  asked += 1;
  const mine = asked;
  const answer = await fetch(`/box/${form.dataset.box}/table`);
  if (!answer.ok) return;
  const text = await answer.text();
  if (mine < shown) return;  // a later one is there already
  shown = mine;
  const made = new DOMParser().parseFromString(text, "text/html");
  at("table").replaceChildren(...made.body.childNodes);
}

function tell() {
  at("bar").hidden = all === 0;
  at("bar").value = all ? 100 * done / all : 0;
  at("doing").textContent = done === all ? `All ${all} photos are done.` : `${done} of ${all} photos done`;
  if (done === all && at("correct")) at("reload").hidden = false;
}

async function one(file) {
  const data = new FormData(form);
  data.delete("photo");
  data.append("photo", file, file.name || "photo.jpg");
  try {
    const answer = await send(form.action, data);
    if (answer.status !== 201) { fail(file.name, `${answer.body.message} ${answer.body.advice ?? ""}`); return; }
    const last = await follow(answer.body.events, () => {});
    if (last.kind === "failed") fail(file.name, `${last.data.message} ${last.data.advice}`);
  } catch {
    fail(file.name, "it did not arrive; send it again");
  }
}

async function work() {
  going += 1;
  while (queue.length) {
    await one(queue.shift());
    await table();
    done += 1;
    tell();
  }
  going -= 1;
}

function add(files) {
  queue.push(...files);
  all += files.length;
  tell();
  while (going < AT_ONCE && going < queue.length + going && queue.length) work();
}

for (const id of ["photos", "camera"]) {
  at(id).addEventListener("change", (e) => { add([...e.target.files]); e.target.value = ""; });
}
dropInto(at("drop"), add);
form.addEventListener("submit", (e) => e.preventDefault());
