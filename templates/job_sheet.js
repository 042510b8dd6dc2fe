/* The sheet on a phone: find a tag, see its doses in large type, tick them off, save the ticks. It reads the lists that
   are printed, so that screen and paper cannot differ; it asks nothing of any network. */
(function () {
  "use strict";
  var MOST_SHOWN = 12;
  var job = document.body.getAttribute("data-job");
  var store = "batchdose-" + job;
  var ticks = {}, kept = true, animals = [];
  var find = document.getElementById("find"), mob = document.getElementById("mob");
  var found = document.getElementById("found"), count = document.getElementById("count");
  var by = document.getElementById("by"), note = document.getElementById("note");
  var status = document.getElementById("kept");

  function make(name, className, text) {
    var element = document.createElement(name);
    if (className) { element.className = className; }
    if (text) { element.textContent = text; }
    return element;
  }
  function plain(text) { return text.toLowerCase().replace(/\s/g, ""); }
  function load() {
    try {
      var saved = JSON.parse(localStorage.getItem(store) || "{}");
      ticks = saved.ticks || {};
      by.value = saved.by || "";
    } catch (error) { kept = false; }
  }
  function keep() {
    try { localStorage.setItem(store, JSON.stringify({ ticks: ticks, by: by.value })); } catch (error) { kept = false; }
    if (!kept) { status.textContent = "This phone does not keep ticks when the page is closed: save them as .csv first."; }
  }
  function localTime(now) {
    function two(number) { return (number < 10 ? "0" : "") + number; }
    var zone = -now.getTimezoneOffset(), away = Math.abs(zone);
    return now.getFullYear() + "-" + two(now.getMonth() + 1) + "-" + two(now.getDate()) + "T" + two(now.getHours()) +
      ":" + two(now.getMinutes()) + (zone < 0 ? "-" : "+") + two(Math.floor(away / 60)) + ":" + two(away % 60);
  }
  function set(dose, given) {
    if (given) {
      ticks[dose.key] = { when: localTime(new Date()), by: by.value.trim(), note: note.value.trim() };
      note.value = "";
    } else {
      delete ticks[dose.key];
    }
    keep();
    paint(dose);
    say();
  }
  function paint(dose) {
    var given = Boolean(ticks[dose.key]);
    dose.box.setAttribute("aria-checked", String(given));
    if (dose.button) {
      dose.button.setAttribute("aria-pressed", String(given));
      dose.button.textContent = (given ? "\u2713 Given " : "Tick when given") +
        (dose.times > 1 ? " (" + dose.number + " of " + dose.times + ")" : "") +
        (given ? ticks[dose.key].when.slice(11, 16) : "");
    }
  }
  function readCell(animal, cell, head) {
    var boxes = cell.querySelectorAll(".box"), more = cell.querySelector(".more"), group = cell.querySelector(".group");
    var medicine = { name: head.textContent, amount: cell.firstChild ? cell.firstChild.textContent.trim() : "",
      more: (group ? "weight group " + group.textContent + (more ? "; " : "") : "") + (more ? more.textContent : ""), stop: cell.className === "never", doses: [],
      batch: cell.getAttribute("data-batch") || head.getAttribute("data-batch") || "" };
    if (!medicine.amount) { return; }
    animal.medicines.push(medicine);
    boxes.forEach(function (box, at) {
      var dose = { box: box, number: at + 1, times: boxes.length, animal: animal, medicine: medicine,
        key: [animal.mob, animal.place, animal.tag, medicine.name, at + 1].join("|") };
      medicine.doses.push(dose);
      box.setAttribute("role", "checkbox");
      box.setAttribute("tabindex", "0");
      box.setAttribute("aria-label", animal.tag + ", " + medicine.name + " " + medicine.amount + ", given");
      box.addEventListener("click", function () { set(dose, !ticks[dose.key]); });
      box.addEventListener("keydown", function (event) {
        if (event.key === " " || event.key === "Enter") { event.preventDefault(); set(dose, !ticks[dose.key]); }
      });
    });
  }
  function read() {
    document.querySelectorAll(".list").forEach(function (list) {
      var name = list.getAttribute("data-mob"), option = make("option", "", name), place = {};
      option.value = name;
      mob.appendChild(option);
      list.querySelectorAll("table").forEach(function (table) {
        var heads = table.tHead.rows[0].cells;
        Array.prototype.forEach.call(table.tBodies[0].rows, function (row) {
          var tag = row.cells[0].textContent;
          place[tag] = (place[tag] || 0) + 1;
          var animal = { tag: tag, eid: row.getAttribute("data-eid") || "", mob: name, place: place[tag],
            weight: row.cells[1].textContent, medicines: [] };
          for (var at = 2; at < row.cells.length; at += 1) { readCell(animal, row.cells[at], heads[at]); }
          animal.search = [plain(animal.tag), plain(animal.eid)];
          animals.push(animal);
        });
      });
    });
  }
  function doses(some) {
    var all = [];
    some.forEach(function (animal) {
      animal.medicines.forEach(function (medicine) { all = all.concat(medicine.doses); });
    });
    return all;
  }
  function inMob() {
    return animals.filter(function (animal) { return !mob.value || animal.mob === mob.value; });
  }
  function say(matches) {
    var all = doses(inMob()), done = all.filter(function (dose) { return ticks[dose.key]; }).length;
    var text = done + " of " + all.length + " doses ticked.";
    if (matches && find.value) {
      text = (matches.length === 0 ? "No such tag on this sheet: do not dose. " :
        matches.length + (matches.length === 1 ? " animal. " : " animals. ")) + text;
    }
    count.textContent = text;
  }
  function reason(animal, medicine) {
    var why = [];
    document.querySelectorAll(".held tbody tr").forEach(function (row) {
      var cells = Array.prototype.map.call(row.cells, function (cell) { return cell.textContent; });
      if (cells[0].split(", ").indexOf(animal.tag) >= 0 && (cells[1] || "All animals") === animal.mob &&
          cells[2].split("; ").indexOf(medicine.name) >= 0) { why.push(cells[3]); }
    });
    return why.join("; ");
  }
  function card(animal) {
    var part = make("div", "animal");
    part.appendChild(make("h2", "", animal.tag));
    part.appendChild(make("p", "", animal.mob + ", " + animal.weight));
    animal.medicines.forEach(function (medicine) {
      part.appendChild(make("p", "which", medicine.name));
      if (medicine.stop) {
        part.appendChild(make("p", "never", "DO NOT DOSE"));
        part.appendChild(make("p", "", reason(animal, medicine)));
        return;
      }
      part.appendChild(make("p", "much", medicine.amount));
      if (medicine.more) { part.appendChild(make("p", "", medicine.more)); }
      medicine.doses.forEach(function (dose) {
        dose.button = make("button", "give");
        dose.button.type = "button";
        dose.button.setAttribute("aria-label", animal.tag + ", " + medicine.name + " " + medicine.amount + ", given");
        dose.button.addEventListener("click", function () { set(dose, !ticks[dose.key]); });
        part.appendChild(dose.button);
        paint(dose);
      });
    });
    return part;
  }
  function search() {
    var wanted = plain(find.value), matches = [];
    if (wanted) {
      matches = inMob().filter(function (animal) {
        return animal.search.some(function (text) { return text.indexOf(wanted) >= 0; });
      });
      var exact = matches.filter(function (animal) { return animal.search.indexOf(wanted) >= 0; });
      if (exact.length) { matches = exact; }
    }
    found.textContent = "";
    matches.slice(0, MOST_SHOWN).forEach(function (animal) { found.appendChild(card(animal)); });
    if (matches.length > MOST_SHOWN) {
      found.appendChild(make("p", "", (matches.length - MOST_SHOWN) + " more: type more of the tag."));
    }
    say(matches);
  }
  function field(text) {
    var safe = /^[=+\-@\t]/.test(text) ? "'" + text : text;
    return /[",\r\n]/.test(safe) ? '"' + safe.replace(/"/g, '""') + '"' : safe;
  }
  function csv() {
    var lines = [["tag", "eid", "mob", "medicine", "given", "amount", "when", "batch_no", "by", "note", "job"]];
    doses(animals).forEach(function (dose) {
      var tick = ticks[dose.key];
      if (tick) {
        lines.push([dose.animal.tag, dose.animal.eid, dose.animal.mob, dose.medicine.name, "yes", dose.medicine.amount,
          tick.when, dose.medicine.batch, tick.by, tick.note, job]);
      }
    });
    return lines.map(function (line) { return line.map(field).join(",") + "\r\n"; }).join("");
  }
  function save() {
    var link = make("a");
    link.href = URL.createObjectURL(new Blob(["\ufeff" + csv()], { type: "text/csv" }));
    link.download = "ticks-" + job + ".csv";
    document.body.appendChild(link);
    link.click();
    document.body.removeChild(link);
    status.textContent = "Saved as " + link.download + ".";
  }
  function fromAddress() {
    var asked = /[#&]tag=([^&]*)/.exec(location.hash);
    if (asked) { find.value = decodeURIComponent(asked[1]); }
    search();
  }

  document.querySelector(".phone").hidden = false;
  read();
  load();
  doses(animals).forEach(paint);
  find.addEventListener("input", search);
  mob.addEventListener("change", search);
  by.addEventListener("input", keep);
  document.getElementById("save").addEventListener("click", save);
  window.addEventListener("hashchange", fromAddress);
  fromAddress();
}());
