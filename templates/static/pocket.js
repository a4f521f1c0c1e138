/* The overdue clocks of the pocket file. It runs inside the page, loads nothing and sends nothing.
   Without it the printed times stand. Every text comes from the page, in its language. */
(function () {
  "use strict";
  var SECOND = 1000, MINUTE = 60000, DAY = 86400000;
  var words = JSON.parse(document.body.getAttribute("data-words"));
  var bar = document.getElementById("overdue");
  var memory = {}; // what is marked while the page is open, should the phone keep nothing
  var keeps = true;

  function read(key) {
    var kept = null;
    try { kept = window.localStorage.getItem(key); } catch (error) { keeps = false; }
    if (!keeps && Object.prototype.hasOwnProperty.call(memory, key)) { kept = memory[key]; }
    var at = kept === null ? NaN : Number(kept);
    return at > 0 && isFinite(at) ? at : null;
  }

  function write(key, at) {
    if (at === null) { delete memory[key]; } else { memory[key] = String(at); }
    try {
      if (at === null) { window.localStorage.removeItem(key); } else { window.localStorage.setItem(key, String(at)); }
      keeps = window.localStorage.getItem(key) === (at === null ? null : String(at));
    } catch (error) { keeps = false; }
  }

  function say(text, values) {
    return text.replace(/\{(\w+)\}/g, function (all, name) { return name in values ? values[name] : all; });
  }

  function put(element, text) { if (element.textContent !== text) { element.textContent = text; } }

  function two(number) { return (number < 10 ? "0" : "") + number; }

  // The hour and minute at the site, which a phone set to another zone does not show.
  function local(moment, offset) {
    var there = new Date(moment + offset * MINUTE);
    return two(there.getUTCHours()) + ":" + two(there.getUTCMinutes());
  }

  function span(minutes) {
    if (minutes < 60) { return say(words.minutes, { min: minutes }); }
    return say(words.hours, { h: Math.floor(minutes / 60), min: minutes % 60 });
  }

  var clocks = Array.prototype.map.call(document.querySelectorAll("[data-exit-by]"), function (box) {
    var clock = {
      box: box,
      name: box.getAttribute("data-name"),
      key: box.getAttribute("data-key"),
      entry: Date.parse(box.getAttribute("data-entry")),
      exitBy: Date.parse(box.getAttribute("data-exit-by")),
      offset: Number(box.getAttribute("data-offset-min")),
      inAt: box.getAttribute("data-in"),
      outBy: box.getAttribute("data-out"),
      day: box.getAttribute("data-day"),
      state: box.querySelector(".state"),
      out: box.querySelector(".all-out"),
      undo: box.querySelector(".undo"),
      kept: box.querySelector(".kept")
    };
    // A second tap changes nothing: the first time that was noted counts.
    clock.out.addEventListener("click", function () {
      var now = Date.now();
      if (marked(clock) === null && now >= clock.entry) { write(clock.key, now); }
      show();
    });
    clock.undo.addEventListener("click", function () {
      var at = marked(clock);
      if (at !== null && Math.abs(Date.now() - at) < SECOND) { return; } // the second half of a double tap
      write(clock.key, null);
      show();
      clock.out.focus();
    });
    clock.out.parentNode.hidden = false;
    return clock;
  });

  // Nobody is out of a dive that had not begun: such a mark is not believed.
  function marked(clock) {
    var at = read(clock.key);
    return at !== null && at >= clock.entry ? at : null;
  }

  function state(clock, now, at) {
    if (at !== null) { return ["out", say(words.out, { clock: local(at, clock.offset) })]; }
    if (now >= clock.exitBy) {
      if (now - clock.exitBy >= DAY) { return ["overdue", say(words.long_ago, { clock: clock.outBy, day: clock.day })]; }
      var late = Math.ceil((now - clock.exitBy) / MINUTE);
      return ["overdue", late ? say(words.overdue, { time: span(late) }) : words.overdue_now];
    }
    if (now >= clock.entry) {
      var left = Math.floor((clock.exitBy - now) / MINUTE);
      return ["in", left ? say(words.left, { clock: clock.outBy, time: span(left) }) : say(words.left_none, { clock: clock.outBy })];
    }
    if (clock.entry - now >= DAY) { return ["before", say(words.another_day, { day: clock.day })]; }
    var wait = Math.floor((clock.entry - now) / MINUTE);
    return ["before", say(words.before, { clock: clock.inAt, time: span(wait), out: clock.outBy })];
  }

  function show() {
    var now = Date.now(), late = [];
    clocks.forEach(function (clock) {
      var at = marked(clock), found = state(clock, now, at);
      clock.box.setAttribute("data-state", found[0]);
      put(clock.state, found[1]);
      put(clock.out, at !== null ? words.button_done : now < clock.entry ? say(words.button_early, { clock: clock.inAt }) : words.button);
      clock.out.disabled = at !== null || now < clock.entry;
      clock.undo.parentNode.hidden = at === null;
      put(clock.kept, keeps ? words.kept : words.not_kept);
      clock.kept.hidden = at === null && keeps;
      if (found[0] === "overdue") { late.push(clock); }
    });
    late.sort(function (one, other) { return one.exitBy - other.exitBy; });
    var shown = late.map(function (clock) { return clock.box.id; }).join(" ");
    if (bar.getAttribute("data-shown") !== shown) { // said once, not every second
      bar.setAttribute("data-shown", shown);
      bar.textContent = "";
      bar.hidden = !late.length;
      if (late.length) {
        var link = document.createElement("a");
        link.href = "#" + late[0].box.id;
        link.textContent = say(late.length > 1 ? words.bar_more : words.bar, { dive: late[0].name, number: late.length });
        bar.appendChild(link);
      }
    }
    Array.prototype.forEach.call(document.querySelectorAll("[data-phone-clock]"), function (line) {
      put(line, say(words.phone, { clock: local(now, Number(line.getAttribute("data-phone-clock"))) }));
    });
  }

  // What a link leads to is opened, with whatever it lies in.
  function open() {
    var part = location.hash.length > 1 ? document.getElementById(location.hash.slice(1)) : null;
    for (; part; part = part.parentElement) { if (part.tagName === "DETAILS") { part.open = true; } }
  }

  Array.prototype.forEach.call(document.querySelectorAll(".no-clock"), function (line) { line.hidden = true; });
  show();
  open();
  window.addEventListener("hashchange", open);
  window.setInterval(show, SECOND);
  window.addEventListener("storage", show); // marked in another window of the same phone
  window.addEventListener("pageshow", show);
  document.addEventListener("visibilitychange", show); // a phone stops the seconds of a page that is not seen
}());
