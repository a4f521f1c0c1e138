// Keeps entries on the phone until the server says that it has them: in order, each once, whatever the connection does.
"use strict";
(() => {
  const board = document.getElementById("board");
  const queueLine = document.getElementById("queue");
  const refusedBox = document.getElementById("refused");
  const prefix = `tripplan entry ${board.dataset.key} `;
  let token = board.dataset.csrf;
  let sending = false;
  let waitMs = 1000;
  let refusal = ""; // why the server takes nothing, where it said so
  let tag = ""; // of the board that is shown: the server sends no other one while nothing on it is new
  let lastPress = { what: "", at: 0 };
  let pressed = null; // the control that was pressed last: its button is switched off, which takes the focus from it
  let done = ""; // what was pressed, to be read out once it is known whether it was sent
  let owed = false; // whether it was read out that something is not sent
  const late = new Set();
  const unkept = []; // where the phone keeps nothing, at least this page does

  const storage = (() => {
    try { localStorage.setItem("tripplan probe", "1"); localStorage.removeItem("tripplan probe"); return localStorage; }
    catch { return null; }
  })();

  function waiting() {
    if (!storage) return [...unkept];
    const keys = [];
    for (let n = 0; n < storage.length; n += 1) if (storage.key(n).startsWith(prefix)) keys.push(storage.key(n));
    return keys.sort().map(key => ({ key, entry: JSON.parse(storage.getItem(key)) }));
  }

  function keep(entry) {
    // Each under a key of its own, so that two open pages never write over each other; the key holds the order.
    const key = prefix + String(Date.now()).padStart(15, "0") + " " + String(keep.count = (keep.count || 0) + 1).padStart(6, "0") + " " + entry.uid;
    if (storage) { try { storage.setItem(key, JSON.stringify(entry)); return; } catch { /* full: this page keeps it */ } }
    unkept.push({ key, entry });
  }

  function drop(key) {
    if (storage) storage.removeItem(key);
    const at = unkept.findIndex(each => each.key === key);
    if (at >= 0) unkept.splice(at, 1);
  }

  const all = () => [...waiting(), ...(storage ? unkept : [])];

  function mark() {
    const bytes = crypto.getRandomValues(new Uint8Array(12));
    return Array.from(bytes, each => each.toString(16).padStart(2, "0")).join("");
  }

  function show() {
    const count = all().length;
    queueLine.hidden = count === 0;
    queueLine.textContent = count === 0 ? "" : `${count} ${count === 1 ? "entry is" : "entries are"} kept on this phone and not sent yet: `
      + all().map(({ entry }) => [entry.kind.replace("_", " "), entry.person].filter(Boolean).join(" ")).join(", ")
      + (refusal ? `. ${refusal}` : "");
  }

  async function freshToken() {
    const answer = await fetch(board.dataset.token, { cache: "no-store" });
    if (answer.ok) token = (await answer.json()).token;
  }

  const boxes = form => [...form.querySelectorAll("input:not([type=hidden]), textarea")];

  function isOf(form) {
    // What a form writes and of whom, as it was drawn.
    return [...form.querySelectorAll("input[type=hidden]")].filter(each => ["kind", "group", "dive", "person", "corrects"].includes(each.name))
      .map(each => `${each.name} ${each.value}`).join("\n");
  }

  function typedNow() {
    const typed = new Map();
    for (const form of board.querySelectorAll("form.entry"))
      for (const box of boxes(form)) if (box.value) typed.set(`${isOf(form)}\n${box.name}`, box.value);
    return typed;
  }

  function typeAgain(typed) {
    for (const form of board.querySelectorAll("form.entry"))
      for (const box of boxes(form)) box.value = typed.get(`${isOf(form)}\n${box.name}`) || box.value;
  }

  // ---- what is read out, and where the keyboard stands, across a board that is drawn anew ----

  function read(id, words) { document.getElementById(id).textContent = words; }

  const placeOf = each => {
    const line = each.closest("li");
    return [each.closest("section")?.getAttribute("aria-label") || "", line ? line.querySelector("b")?.textContent || line.textContent.trim().slice(0, 60) : ""];
  };

  function keyOf(each) {
    // What a control is, as far as a fresh board has it too; the numbers in a summary are other ones then.
    const form = each.closest("form.entry");
    const what = form ? `${isOf(form)}\n${each.name || each.tagName}` : `${each.tagName} ${each.textContent.replace(/\d+/g, "#")}`;
    return { what: [...placeOf(each), what].join("\n"), place: placeOf(each) };
  }

  function focusAgain(key) {
    if (!key || document.activeElement !== document.body) return;
    const controls = [...board.querySelectorAll("button:not(:disabled), a[href], input:not([type=hidden]), select, textarea, summary, [tabindex='-1']")];
    let found = controls.find(each => keyOf(each).what === key.what);
    if (!found) {
      // What was pressed is gone. Its line or its part takes the focus and never the control now in its place, which
      // writes the opposite: a key that is held down would press it.
      const part = [...board.querySelectorAll("section")].find(each => (each.getAttribute("aria-label") || "") === key.place[0]);
      const line = key.place[1] && part ? [...part.querySelectorAll("li")].find(each => each.querySelector("b")?.textContent === key.place[1]) : null;
      found = line?.querySelector("p") || part?.querySelector("h2") || part || board;
      found.tabIndex = -1;
    }
    found.focus({ preventScroll: true });
    found.scrollIntoView({ block: "nearest" });
  }

  const alarmsNow = () => [...board.querySelectorAll(".alarm > p > b")].map(each => each.textContent.replace("■", "").trim());

  function warn(before) {
    const fresh = alarmsNow().filter(each => !before.includes(each));
    if (fresh.length) read("warned", fresh.length === 1 ? `Alarm: ${fresh[0]}` : `${fresh.length} new alarms. ${fresh[0]}`);
  }

  async function redraw() {
    const by = document.getElementById("by").value;
    const answer = await fetch(`${board.dataset.board}&by=${encodeURIComponent(by)}`, { cache: "no-store", headers: tag ? { "If-None-Match": tag } : {} });
    if (!answer.ok) return; // also 304: what is shown is what there is
    const text = await answer.text();
    const active = document.activeElement;
    const within = active !== board && board.contains(active) ? keyOf(active) : null;
    // Nobody is taken out of a box in which they type; one that was just sent with the Enter key is empty.
    if (within && active.matches("input, textarea, select") && !(pressed && within.what === pressed.what && !active.value)) return;
    const at = within || (active === document.body ? pressed : null);
    const open = [...board.querySelectorAll("details[open] > summary")].map(each => keyOf(each).what);
    const alarms = alarmsNow();
    const typed = typedNow(); // words half written are not lost to a fresh board
    board.innerHTML = text;
    tag = answer.headers.get("ETag") || "";
    typeAgain(typed);
    for (const summary of board.querySelectorAll("details > summary"))
      if (open.includes(keyOf(summary).what)) summary.parentElement.open = true;
    pressed = null;
    focusAgain(at);
    warn(alarms);
    clocks();
  }

  function firstOf(entries) {
    // The server takes 64,000 bytes in one message and closes the connection on a longer one.
    const bytes = new TextEncoder();
    let left = 40000;
    let count = 0;
    while (count < Math.min(entries.length, 50)) {
      left -= bytes.encode(JSON.stringify(entries[count].entry)).length;
      if (left < 0 && count > 0) break;
      count += 1;
    }
    return entries.slice(0, count);
  }

  async function send() {
    if (sending) return;
    const batch = firstOf(all());
    if (batch.length === 0) return;
    sending = true;
    try {
      const ask = () => fetch(board.dataset.send, {
        method: "POST",
        headers: { "Content-Type": "application/json", "X-CSRFToken": token },
        body: JSON.stringify({ entries: batch.map(({ entry }) => entry) }),
      });
      let answer = await ask();
      if (answer.status === 400 && !(answer.headers.get("Content-Type") || "").includes("json")) {
        await freshToken();
        answer = await ask();
      }
      refusal = answer.status === 401 ? "You are no longer signed in: sign in again in a tab of its own, and they are sent."
        : answer.status === 403 ? "Your account may not write them." : "";
      if (!answer.ok) throw new Error(`answer ${answer.status}`);
      const told = await answer.json();
      const safe = new Set([...told.new, ...told.known, ...told.differs, ...told.refused.map(each => each.uid)]);
      for (const { key, entry } of batch) if (safe.has(entry.uid)) drop(key);
      for (const { uid, error } of told.refused) refuse(batch.find(each => each.entry.uid === uid), error);
      waitMs = 1000;
      show();
      await redraw();
      if (done && !told.refused.length) read("told", `${done}. In the water: ${board.querySelector(".tally dd").textContent}.`);
      else if (owed && !all().length) read("told", "Everything is sent.");
      done = "";
      owed = owed && all().length > 0;
    } catch {
      if (done) { read("told", `${done}: kept on this phone, not sent yet.`); done = ""; owed = true; }
      waitMs = Math.min(waitMs * 2, 30000);
    } finally {
      sending = false;
      show();
      if (all().length) setTimeout(send, waitMs);
    }
  }

  function refuse(kept, error) {
    const line = document.createElement("p");
    const what = kept ? [kept.entry.kind, kept.entry.person, kept.entry.value, kept.entry.text].filter(Boolean).join(" ") : "An entry";
    line.textContent = `Not written down: ${what}: ${error}. Write it again.`;
    refusedBox.append(line);
    refusedBox.hidden = false;
    if (!kept || !["incident", "note"].includes(kept.entry.kind)) return;
    const box = board.querySelector(`form.entry:has(input[name=kind][value=${kept.entry.kind}]) [name=text]`);
    if (box && !box.value) box.value = kept.entry.text; // long words are mended, not typed again
  }

  board.addEventListener("submit", event => {
    const form = event.target;
    if (!form.classList.contains("entry")) return;
    event.preventDefault();
    const values = new FormData(form);
    const people = values.getAll("person").map(each => each.trim());
    const what = ["kind", "group", "dive", "value", "text", "corrects"].map(name => values.get(name) || "").join(" ") + people.join(" ");
    if (what === lastPress.what && Date.now() - lastPress.at < 1500) return; // a double tap is one
    lastPress = { what, at: Date.now() };
    for (const person of people.length ? people : [""])
      keep({
        uid: mark(), at: new Date().toISOString(), by: values.get("by") || document.getElementById("by").value,
        kind: values.get("kind"), person, group: values.get("group") || "", dive: Number(values.get("dive") || 0),
        value: values.get("value") || "", text: values.get("text") || "", identity: values.get("identity") || "",
        corrects: values.get("corrects") || "",
      });
    const at = form.contains(document.activeElement) ? document.activeElement : form.querySelector("button");
    pressed = keyOf(at);
    done = people.length === 1 && people[0] ? `${form.querySelector("button").textContent}: ${people[0]}` : form.querySelector("button").textContent;
    tag = ""; // its button is marked as pressed below: a board that is the same is drawn again
    form.reset();
    for (const box of boxes(form)) box.value = ""; // also what came back from the server
    for (const button of form.querySelectorAll("button")) { button.disabled = true; button.textContent += " ✓"; }
    show();
    send();
  });

  function wet(line) {
    // Who went in without a connection is known to this phone only, and the clock runs all the same.
    return "wet" in line.dataset || all().some(({ entry }) => entry.kind === "in"
      && entry.group === line.dataset.group && String(entry.dive) === line.dataset.dive);
  }

  function clocks() {
    for (const line of board.querySelectorAll("[data-out-by]")) {
      if (!wet(line)) continue;
      const minutes = (Date.parse(line.dataset.outBy) - Date.now()) / 60000;
      line.dataset.words = line.dataset.words || line.textContent;
      const running = line.dataset.words;
      line.textContent = minutes >= 0 ? `${running} Out by in ${Math.floor(minutes)} min.`
        : `${running} OVERDUE since ${Math.ceil(-minutes)} min: start the missing-diver steps unless everybody is out.`;
      if (minutes < 0 && !line.classList.contains("overdue") && !late.has(line.dataset.outBy + line.dataset.group)) {
        late.add(line.dataset.outBy + line.dataset.group); // said once, not with every fresh board
        read("warned", `Overdue: ${line.dataset.group}, dive ${line.dataset.dive}.`);
      }
      line.classList.toggle("overdue", minutes < 0);
    }
  }

  addEventListener("online", send);
  addEventListener("pageshow", () => { show(); send(); });
  setInterval(clocks, 1000);
  setInterval(() => { if (!all().length) redraw().catch(() => {}); }, 15000);
  clocks();
  show();
  send();
})();
