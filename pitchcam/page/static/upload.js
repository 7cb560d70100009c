// Sends a photo with its progress, follows the steps of the measurement, goes to the answer.

const at = (id) => document.getElementById(id);
const MOST_BYTES = 60 * 1024 * 1024;  // as the server's limit
const token = document.querySelector("meta[name=token]").content;

export function wrong(what, todo, onward) {
  at("wrong").hidden = false;
  at("wrong-what").textContent = what;
  at("wrong-do").textContent = todo ? todo[0].toUpperCase() + todo.slice(1) : "";
  at("wrong").querySelector("a")?.remove();
  if (onward) {
    const link = Object.assign(document.createElement("a"), { className: "button", href: onward.address, textContent: onward.words });
    at("wrong").append(link);
  }
  if (at("progress")) at("progress").hidden = true;
  at("wrong").scrollIntoView({ block: "center" });
}

function doing(text) {
  at("doing").textContent = text;
}

// Returns a promise of {status, body}; `share` hears how much of the file has gone.
export function send(address, form, share) {
  return new Promise((resolve, reject) => {
    const request = new XMLHttpRequest();
    request.open("POST", address);
    request.setRequestHeader("Accept", "application/json");
    request.setRequestHeader("X-Token", token);
    request.upload.onprogress = (e) => { if (e.lengthComputable && share) share(e.loaded / e.total); };
    request.onload = () => {
      let body = {};
      try { body = JSON.parse(request.responseText); } catch { body = { message: request.responseText }; }
      resolve({ status: request.status, body });
    };
    request.onerror = () => reject(new Error("no connection"));
    request.send(form);
  });
}

// Hears a run's steps; `told` gets (kind, data). Resolves with the last event.
export function follow(address, told) {
  return new Promise((resolve) => {
    const stream = new EventSource(address);
    let silent = 0;
    const hear = (kind) => stream.addEventListener(kind, (e) => {
      silent = 0;
      const data = JSON.parse(e.data);
      told(kind, data);
      if (kind !== "step") { stream.close(); resolve({ kind, data }); }
    });
    ["step", "done", "failed"].forEach(hear);
    stream.onerror = () => {
      silent += 1;
      if (silent > 20 || stream.readyState === EventSource.CLOSED) {
        stream.close();
        resolve({ kind: "failed", data: { message: "The connection was lost.", advice: "Look in the record, or send it again." } });
      }
    };
  });
}

// The whole way of one photo on this page.
export async function measure(address, form) {
  at("wrong").hidden = true;
  at("progress").hidden = false;
  at("progress").scrollIntoView({ block: "center" });
  at("steps").replaceChildren();
  at("bar").value = 0;
  doing("Sending");
  let answer;
  try {
    answer = await send(address, form, (share) => { at("bar").value = 60 * share; });
  } catch {
    return wrong("The photo did not arrive: there is no connection.", "try again when the network is back");
  }
  if (answer.status !== 201) return wrong(answer.body.message, answer.body.advice);
  return finish(answer.body.events);
}

async function finish(events) {
  doing("Measuring");
  const last = await follow(events, (kind, data) => {
    if (kind !== "step") return;
    const line = document.createElement("li");
    line.textContent = data.text;
    at("steps").append(line);
    if (at("bar").value < 95) at("bar").value = Math.max(at("bar").value, 60) + 5;
  });
  if (last.kind === "done") location.assign(last.data.address);
  else wrong(last.data.message, last.data.advice);
}

// Several photos are of one part: each is measured, then they are shown side by side.
async function together(files) {
  at("wrong").hidden = true;
  at("progress").hidden = false;
  at("progress").scrollIntoView({ block: "center" });
  at("steps").replaceChildren();
  const answers = [], failed = [];
  for (const [i, file] of files.entries()) {
    doing(`Photo ${i + 1} of ${files.length}`);
    at("bar").value = 100 * i / files.length;
    let last = { kind: "failed", data: { message: "It did not arrive." } };
    try {
      const answer = await send(shoot.action, formOf(shoot, file));
      last.data = answer.body;
      if (answer.status === 201) last = await follow(answer.body.events, () => {});
    } catch { /* told below */ }
    if (last.kind === "done") answers.push(last.data.address);
    else failed.push((last.data.message.includes(file.name) ? "" : `${file.name}: `) + last.data.message);
  }
  const ids = answers.map((address) => `id=${address.split("/").pop()}`).join("&");
  const address = answers.length === 1 ? answers[0] : `/together?${ids}`;
  if (!failed.length) return location.assign(address);
  // What did not come in is told before the others are shown: an answer of two of three looks whole.
  const words = answers.length === 1 ? "Show the other photo" : `Show the other ${answers.length} photos`;
  wrong(failed.join(" "), "send the camera's own files", answers.length ? { address, words } : null);
}

function formOf(form, file) {
  const data = new FormData(form);
  data.delete("photo");
  data.append("photo", file, file.name || "photo.jpg");
  return data;
}

const shoot = at("shoot");
if (shoot) {
  const go = (files) => {
    const large = files.find((file) => file.size > MOST_BYTES);
    if (large) wrong(`${large.name} has more than 60 MB.`, "send the camera's own file");
    else if (files.length === 1) measure(shoot.action, formOf(shoot, files[0]));
    else if (files.length) together(files);
  };
  for (const id of ["camera", "photo"]) {
    at(id).addEventListener("change", (e) => { go([...e.target.files]); e.target.value = ""; });
  }
  dropInto(at("drop"), go);
  shoot.addEventListener("submit", (e) => e.preventDefault());
}

export function dropInto(place, take) {
  for (const kind of ["dragenter", "dragover"]) {
    place.addEventListener(kind, (e) => { e.preventDefault(); place.classList.add("over"); });
  }
  place.addEventListener("dragleave", () => place.classList.remove("over"));
  place.addEventListener("drop", (e) => {
    e.preventDefault();
    place.classList.remove("over");
    take([...e.dataTransfer.files]);
  });
}

for (const form of document.querySelectorAll("form.again")) {
  form.addEventListener("submit", (e) => { e.preventDefault(); measure(form.action, new FormData(form)); });
}

const running = document.querySelector("section[data-events]");
if (running) finish(running.dataset.events);
