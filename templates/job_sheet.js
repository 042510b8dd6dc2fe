/* The sheet on a phone: find a tag, see its doses in large type, tick them off, save the ticks. It reads the lists that
   are printed, so that screen and paper cannot differ; it asks nothing of any network. Every word it shows stands in
   the block "words", every figure it reckons with in data attributes, in one form whatever the language. */
(function () {
  "use strict";
  var MOST_SHOWN = 12;
  var TWICE_MS = 600; /* a second tap sooner than this is a glove or a key that bounced */
  var KEYS_MS = 100; /* keys that follow each other sooner than this are a reader's, not a person's */
  var NUMBER_DIGITS = 10; /* the least digits of an electronic or official number */
  var SHARES = [["none", 0], ["quarter", 0.25], ["half", 0.5], ["mostly", 0.75], ["whole", 1]];
  var words = JSON.parse(document.getElementById("words").textContent);
  var job = document.body.getAttribute("data-job");
  var store = "batchdose-" + job;
  var ticks = {}, kept = true, animals = [];
  var find = document.getElementById("find"), mob = document.getElementById("mob");
  var found = document.getElementById("found"), count = document.getElementById("count");
  var by = document.getElementById("by"), status = document.getElementById("kept");

  function word(name, values) {
    return words[name].replace(/\{(\w+)\}/g, function (all, key) { return values[key]; });
  }
  function make(name, className, text) {
    var element = document.createElement(name);
    if (className) { element.className = className; }
    if (text) { element.textContent = text; }
    return element;
  }
  function button(className, text, act) {
    var made = make("button", className, text);
    made.type = "button";
    made.addEventListener("click", act);
    return made;
  }
  function input(text, mode) {
    var label = make("label", "", text), made = make("input");
    made.autocomplete = "off";
    if (mode) { made.inputMode = mode; }
    label.appendChild(made);
    return { label: label, input: made };
  }
  function plain(text) { return text.toLowerCase().replace(/\s/g, ""); }
  function digits(text) { return text.replace(/\D/g, ""); }
  function ends(text, end) { return text.slice(-end.length) === end; }

  /* What is kept on the phone: for each dose that was ticked, by its line of the plan, what was said of it. */
  function load() {
    try {
      var saved = JSON.parse(localStorage.getItem(store) || "{}");
      ticks = saved.ticks || {};
      by.value = saved.by || "";
    } catch (error) { kept = false; }
  }
  function keep() {
    try { localStorage.setItem(store, JSON.stringify({ ticks: ticks, by: by.value })); } catch (error) { kept = false; }
    if (!kept) { status.textContent = words.not_kept; }
  }
  function localTime(now) {
    function two(number) { return (number < 10 ? "0" : "") + number; }
    var zone = -now.getTimezoneOffset(), away = Math.abs(zone);
    return now.getFullYear() + "-" + two(now.getMonth() + 1) + "-" + two(now.getDate()) + "T" + two(now.getHours()) +
      ":" + two(now.getMinutes()) + (zone < 0 ? "-" : "+") + two(Math.floor(away / 60)) + ":" + two(away % 60);
  }
  function set(dose, said) {
    if (said) {
      said.when = localTime(new Date());
      said.by = by.value.trim();
      ticks[dose.line] = said;
    } else {
      delete ticks[dose.line];
    }
    keep();
    paint(dose);
    tell();
  }
  function tap(dose) {
    var now = Date.now();
    if (now - (dose.tapped || 0) < TWICE_MS) { return; }
    dose.tapped = now;
    var said = ticks[dose.line];
    set(dose, said && said.given === "yes" ? null : { given: "yes", amount: dose.amount, note: "" });
  }

  /* Amounts: "0.9 mL" in the data, whatever the language; on the screen with the decimal mark of the language. */
  function shown(amount) { return amount.replace(".", words.decimal); }
  function amountOf(dose, share, typed) {
    var parts = dose.amount.split(" "), planned = Number(parts[0]), text = typed.replace(/\s/g, "");
    if (!text && share === 1) { return dose.amount; }
    if (!text) { return share ? Number((planned * share).toPrecision(3)) + " " + parts.slice(1).join(" ") : ""; }
    if (!(planned < 1000 ? /^\d+([.,]\d+)?$/ : /^\d+$/).test(text)) { return null; }
    var amount = Number(text.replace(",", "."));
    return amount ? amount + " " + parts.slice(1).join(" ") : "";
  }
  function givenWord(dose, amount) {
    return !amount ? "no" : Number(amount.split(" ")[0]) < Number(dose.amount.split(" ")[0]) ? "part" : "yes";
  }
  function saying(dose) {
    var said = ticks[dose.line];
    if (!said) { return ""; }
    var name = { yes: said.amount === dose.amount ? "given" : "other_amount", part: "part", no: "not_given" }[said.given];
    var parts = [word(name, { time: said.when.slice(11, 16), amount: shown(said.amount) }), said.note];
    if (said.needle) { parts.push(words.needle_broke); }
    return parts.filter(Boolean).join(", ");
  }
  function paint(dose) {
    var said = ticks[dose.line], given = said ? said.given : "", text = saying(dose);
    dose.box.setAttribute("aria-checked", given === "yes" ? "true" : given === "part" ? "mixed" : "false");
    dose.box.setAttribute("data-said", given);
    dose.box.setAttribute("aria-label", dose.name + (text ? ": " + text : ""));
    if (dose.button) {
      text = (text || words.give) + (dose.times > 1 ? " " + word("which", dose) : "");
      dose.button.setAttribute("aria-pressed", String(Boolean(said)));
      dose.button.setAttribute("data-said", given);
      dose.button.textContent = text;
      dose.button.setAttribute("aria-label", text + ": " + dose.name);
    }
  }

  /* The lists as they are printed. */
  function readCell(animal, cell, head) {
    var boxes = cell.querySelectorAll(".box"), more = cell.querySelector(".more"), group = cell.querySelector(".group");
    var medicine = { name: head.textContent, how: head.getAttribute("data-how"),
      amount: cell.firstChild ? cell.firstChild.textContent.trim() : "",
      more: [group ? word("weight_group", { group: group.textContent }) : "", more ? more.textContent : ""]
        .filter(Boolean).join("; "),
      stop: cell.className === "never", doses: [],
      batch: cell.getAttribute("data-batch") || head.getAttribute("data-batch") || "" };
    if (!medicine.amount) { return; }
    animal.medicines.push(medicine);
    boxes.forEach(function (box, at) {
      var dose = { box: box, number: at + 1, times: boxes.length, animal: animal, medicine: medicine,
        line: box.getAttribute("data-line"), amount: box.getAttribute("data-amount"),
        name: animal.shown + ", " + medicine.name + " " + medicine.amount };
      medicine.doses.push(dose);
      box.setAttribute("role", "checkbox");
      box.setAttribute("tabindex", "0");
      box.addEventListener("click", function () { tap(dose); });
      box.addEventListener("keydown", function (event) {
        if (event.key === " " || event.key === "Enter") { event.preventDefault(); tap(dose); }
      });
    });
  }
  function readRow(row, heads, name) {
    var shownTag = row.cells[0].textContent, tag = row.getAttribute("data-tag");
    var animal = { shown: shownTag, tag: tag === null ? shownTag : tag, eid: row.getAttribute("data-eid") || "",
      mob: name, weight: row.cells[1].textContent, medicines: [] };
    for (var at = 2; at < row.cells.length; at += 1) { readCell(animal, row.cells[at], heads[at]); }
    animal.texts = [plain(shownTag), plain(animal.eid)];
    animal.numbers = [digits(shownTag), digits(animal.eid)].filter(function (text) {
      return text.length >= NUMBER_DIGITS;
    });
    animals.push(animal);
  }
  function read() {
    mob.appendChild(make("option", "", words.all_mobs)).value = "";
    document.querySelectorAll(".list").forEach(function (list) {
      var title = list.querySelector("h3").textContent;
      var name = { key: list.getAttribute("data-mob"), title: title };
      mob.appendChild(make("option", "", title)).value = title;
      list.querySelectorAll("table").forEach(function (table) {
        var heads = table.tHead.rows[0].cells;
        Array.prototype.forEach.call(table.tBodies[0].rows, function (row) { readRow(row, heads, name); });
      });
    });
  }
  function nameCells() {
    document.querySelectorAll("main tbody tr").forEach(function (row) {
      var heads = row.parentNode.parentNode.tHead.rows[0].cells;
      row.querySelectorAll("td:not(.weight)").forEach(function (cell) {
        cell.setAttribute("data-heading", heads[cell.cellIndex].textContent);
      });
    });
  }
  function reason(animal, medicine) {
    var why = [];
    document.querySelectorAll(".held tbody tr").forEach(function (row) {
      var cells = Array.prototype.map.call(row.cells, function (cell) { return cell.textContent; });
      if (cells[0].split(", ").indexOf(animal.tag || animal.mob.key) >= 0 && cells[1] === animal.mob.key &&
          cells[2].split("; ").indexOf(medicine.name) >= 0) { why.push(cells[3]); }
    });
    return why.join("; ");
  }
  function doses(some) {
    var all = [];
    some.forEach(function (animal) {
      animal.medicines.forEach(function (medicine) { Array.prototype.push.apply(all, medicine.doses); });
    });
    return all;
  }
  function inMob() {
    return animals.filter(function (animal) { return !mob.value || animal.mob.title === mob.value; });
  }

  /* One animal in large type. */
  function otherwise(dose, close) {
    var part = make("div", "otherwise"), share = 0, chosen = [];
    var amounts = make("fieldset"), reasons = make("fieldset"), choices = make("div", "shares");
    var typed = input(word("amount", { unit: dose.amount.split(" ").slice(1).join(" ") }), "decimal");
    var why = input(words.own_words), needle = input(words.needle), problem = make("p");
    function done(text) {
      var amount = amountOf(dose, share, typed.input.value);
      if (amount === null) { problem.textContent = words.amount_unclear; typed.input.focus(); return; }
      set(dose, { given: givenWord(dose, amount), amount: amount, note: text.trim(), needle: needle.input.checked });
      close();
    }
    problem.setAttribute("role", "alert");
    needle.input.type = "checkbox";
    needle.label.className = "needle";
    SHARES.forEach(function (pair) {
      var made = button("", words[pair[0]], function () {
        share = pair[1];
        typed.input.value = "";
        chosen.forEach(function (other) { other.setAttribute("aria-pressed", String(other === made)); });
      });
      made.setAttribute("aria-pressed", String(pair[1] === 0));
      chosen.push(made);
      choices.appendChild(made);
    });
    [make("legend", "", words.how_much), choices, typed.label, problem].forEach(function (child) {
      amounts.appendChild(child);
    });
    reasons.appendChild(make("legend", "", words.why));
    choices = reasons.appendChild(make("div", "choices"));
    words.reasons.forEach(function (text) {
      choices.appendChild(button("", text, function () { done(text); }));
    });
    [why.label, needle.label].forEach(function (child) { reasons.appendChild(child); });
    part.appendChild(amounts);
    part.appendChild(reasons);
    part.appendChild(button("keep", words.keep, function () { done(why.input.value); }));
    if (ticks[dose.line]) { part.appendChild(button("", words.take_back, function () { set(dose, null); close(); })); }
    return part;
  }
  function buttons(dose) {
    var part = make("div", "ticks"), asked = null;
    function close() {
      part.removeChild(asked);
      asked = null;
      more.setAttribute("aria-expanded", "false");
      more.focus();
    }
    var more = button("more-button", words.otherwise, function () {
      if (asked) { close(); return; }
      asked = part.appendChild(otherwise(dose, close));
      more.setAttribute("aria-expanded", "true");
    });
    more.setAttribute("aria-expanded", "false");
    more.setAttribute("aria-label", words.otherwise + ": " + dose.name + (dose.times > 1 ? " " + word("which", dose) : ""));
    dose.button = button("give", "", function () { tap(dose); });
    part.appendChild(dose.button);
    part.appendChild(more);
    paint(dose);
    return part;
  }
  function card(animal) {
    var part = make("div", "animal");
    part.appendChild(make("h2", "", animal.shown));
    part.appendChild(make("p", "", animal.mob.title + ", " + animal.weight));
    animal.medicines.forEach(function (medicine) {
      part.appendChild(make("p", "which", medicine.name));
      if (medicine.stop) {
        part.appendChild(make("p", "never", medicine.amount));
        part.appendChild(make("p", "", reason(animal, medicine)));
        return;
      }
      part.appendChild(make("p", "much", medicine.amount));
      [medicine.how, medicine.more].filter(Boolean).forEach(function (text) { part.appendChild(make("p", "", text)); });
      medicine.doses.forEach(function (dose) { part.appendChild(buttons(dose)); });
    });
    return part;
  }

  /* Looking up. */
  function fitting(some) {
    var wanted = plain(find.value), number = digits(find.value), long = number.length >= NUMBER_DIGITS;
    if (!wanted) { return []; }
    var exact = some.filter(function (animal) {
      return animal.texts.indexOf(wanted) >= 0 || (long && animal.numbers.indexOf(number) >= 0);
    });
    return exact.length ? exact : some.filter(function (animal) {
      return animal.texts.some(function (text) { return text.indexOf(wanted) >= 0; }) ||
        (long && animal.numbers.some(function (text) { return ends(text, number) || ends(number, text); }));
    });
  }
  function tell(matches) {
    var all = doses(inMob()), done = all.filter(function (dose) { return ticks[dose.line]; }), text = [];
    if (matches && find.value) { text.push(lookedUp(matches)); }
    text.push(word("ticked", { done: done.length, all: all.length }));
    done = done.filter(function (dose) { return ticks[dose.line].given !== "yes"; }).length;
    if (done) { text.push(word("not_in_full", { count: done })); }
    count.textContent = text.join(" ");
  }
  function lookedUp(matches) {
    if (matches.length) { return word(matches.length === 1 ? "one_found" : "many_found", { count: matches.length }); }
    var mobs = fitting(animals).map(function (animal) { return animal.mob.title; });
    mobs = mobs.filter(function (name, at) { return mobs.indexOf(name) === at; });
    return mobs.length ? word("other_mob", { mobs: mobs.join(", ") }) : words.no_such_tag;
  }
  function show(some, more) {
    doses(animals).forEach(function (dose) { dose.button = null; });
    found.textContent = "";
    some.slice(0, MOST_SHOWN).forEach(function (animal) { found.appendChild(card(animal)); });
    if (some.length > MOST_SHOWN) { found.appendChild(make("p", "", word(more, { count: some.length - MOST_SHOWN }))); }
  }
  function search() {
    var matches = fitting(inMob());
    show(matches, "more");
    tell(matches);
  }
  function showLeft() {
    find.value = "";
    show(inMob().filter(function (animal) {
      return doses([animal]).some(function (dose) { return !ticks[dose.line]; });
    }), "more_left");
    tell();
  }
  function fromAddress() {
    var asked = /[#&]tag=([^&]*)/.exec(location.hash);
    try { if (asked) { find.value = decodeURIComponent(asked[1]); } } catch (error) { find.value = asked[1]; }
    search();
  }

  /* Readers: those that type, anywhere on the page, and the camera where the browser knows bar codes. */
  function scanned(text) {
    find.value = text;
    search();
  }
  function listenForReader() {
    var typed = "", last = 0;
    find.addEventListener("keydown", function (event) {
      if (event.key === "Enter") { event.preventDefault(); search(); find.select(); }
    });
    document.addEventListener("keydown", function (event) {
      if (event.target.tagName === "INPUT") { return; }
      var quick = event.timeStamp - last < KEYS_MS, letter = event.key.length === 1;
      if (letter) { last = event.timeStamp; }
      if (event.key === "Enter" && quick && typed.length >= NUMBER_DIGITS) {
        event.preventDefault();
        event.stopPropagation();
        scanned(typed);
        find.focus();
        find.select();
        typed = "";
      } else if (/^\d$/.test(event.key)) {
        typed = (quick ? typed : "") + event.key;
      } else if (event.key === " " && quick) { /* a gap between the groups, which must press no button */
        event.preventDefault();
        event.stopPropagation();
      } else if (letter) {
        typed = "";
      }
    }, true);
  }
  function offerCamera() {
    var offer = document.getElementById("scan"), picture = make("video"), stream = null, detector;
    function stop() {
      stream.getTracks().forEach(function (track) { track.stop(); });
      stream = null;
      offer.parentNode.removeChild(picture);
      offer.textContent = words.scan;
    }
    function look() {
      if (!stream) { return; }
      detector.detect(picture).then(function (codes) {
        if (stream && codes.length) { stop(); scanned(codes[0].rawValue); } else { setTimeout(look, 150); }
      }, function () { setTimeout(look, 150); });
    }
    function start(opened) {
      stream = opened;
      picture.muted = true;
      picture.setAttribute("playsinline", "");
      picture.srcObject = opened;
      offer.parentNode.insertBefore(picture, offer.nextSibling);
      offer.textContent = words.stop_scan;
      picture.play().catch(function () { return null; }); /* stopped before it began */
      look();
    }
    window.BarcodeDetector.getSupportedFormats().then(function (formats) {
      if (!formats.length) { return; }
      detector = new window.BarcodeDetector({ formats: formats });
      offer.textContent = words.scan;
      offer.hidden = false;
      offer.addEventListener("click", function () {
        if (stream) { stop(); return; }
        navigator.mediaDevices.getUserMedia({ video: { facingMode: "environment" } }).then(start, function () {
          count.textContent = words.no_camera;
        });
      });
    });
  }

  /* The ticks as a .csv file. */
  function field(text) {
    var safe = /^[=+\-@\t]/.test(text) ? "'" + text : text;
    return /[",\r\n]/.test(safe) ? '"' + safe.replace(/"/g, '""') + '"' : safe;
  }
  function line(dose, said) {
    var no = said.given === "no", full = said.given === "yes";
    return [dose.animal.tag, dose.animal.eid, dose.animal.mob.key, dose.medicine.name, said.given, said.amount,
      no ? "" : said.when, no ? "" : dose.medicine.batch, said.by || by.value.trim(), full ? "" : said.note, full ? said.note : "",
      said.needle ? "yes" : "", dose.line, job];
  }
  function csv() {
    var lines = [["tag", "eid", "mob", "medicine", "given", "amount", "when", "batch_no", "by", "why_not", "note",
      "broken_needle", "line", "job"]];
    doses(animals).forEach(function (dose) {
      if (ticks[dose.line]) { lines.push(line(dose, ticks[dose.line])); }
    });
    return lines.map(function (cells) { return cells.map(field).join(",") + "\r\n"; }).join("");
  }
  function save() {
    var link = make("a");
    link.href = URL.createObjectURL(new Blob(["\ufeff" + csv()], { type: "text/csv" }));
    link.download = "ticks-" + job + ".csv";
    document.body.appendChild(link);
    link.click();
    document.body.removeChild(link);
    status.textContent = word("saved", { name: link.download });
  }

  document.querySelector(".phone").hidden = false;
  nameCells();
  read();
  load();
  doses(animals).forEach(paint);
  find.addEventListener("input", search);
  mob.addEventListener("change", search);
  by.addEventListener("input", keep);
  document.getElementById("save").addEventListener("click", save);
  document.getElementById("left").addEventListener("click", showLeft);
  window.addEventListener("hashchange", fromAddress);
  listenForReader();
  if (window.BarcodeDetector && navigator.mediaDevices) { offerCamera(); }
  fromAddress();
}());
