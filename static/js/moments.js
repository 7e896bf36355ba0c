/*
Reads a typed day or moment back while it is typed: "4 3 2025 1430" shows "= Tue 04-Mar-2025 14:30".
For display only. The rules are those of registry/forms/moments.py, and the server has the last word.

  <input data-time-kind="moment|day" data-zone="Europe/Berlin" data-days-ahead="1">
  <output class="read-back" for="…">
*/
"use strict";
(() => {
  const MONTHS = ["january", "february", "march", "april", "may", "june", "july", "august", "september", "october", "november", "december"];
  const DAY = 86400000;
  const YEAR = "(?<year>\\d{4}|\\d{2})(?!\\d)";
  const DAY_FORMS = [
    /^(?<word>t|today)(?: ?- ?(?<back>\d{1,3})(?!\d)|(?![a-z]))/,
    /^(?<word>y|yesterday)(?![a-z])/,
    /^(?<year>\d{4})(?<sep>[-/.])(?<month>\d{1,2})\k<sep>(?<day>\d{1,2})(?!\d)/,
    new RegExp(`^(?<day>\\d{1,2})(?:st|nd|rd|th)?[ ./-]*(?<name>[a-z]{3,9})[ ./,-]*${YEAR}`),
    new RegExp(`^(?<name>[a-z]{3,9})[ .]*(?<day>\\d{1,2})(?:st|nd|rd|th)?,? ${YEAR}`),
    new RegExp(`^(?<one>\\d{1,2}) ?(?<sep>[./-]| ) ?(?<two>\\d{1,2}) ?\\k<sep> ?${YEAR}`),
  ];
  const LINK = /^(?:t(?=\d)|,? ?at |,)? ?/;
  const CLOCK = /^(?:(?<hour>\d{1,2}) ?[:.h] ?(?<minute>\d{2})(?:[:.]\d{2}(?:[.,]\d{1,6})?)?|(?<digits>\d{3,4})|(?<bare>\d{1,2})(?= ?[ap]\.?m)) ?(?:(?<half>[ap])\.?m\.?|h)? ?(?<tail>first|second|z|utc|[+-]\d{2}(?::?\d{2})?)?$/;

  class Doubt extends Error {}
  const two = (number) => String(number).padStart(2, "0");
  const capital = (word) => word[0].toUpperCase() + word.slice(1);

  /* What the clocks of `zone` show at an instant, as if it were UTC. */
  function onTheWall(instant, zone) {
    const parts = new Intl.DateTimeFormat("en-GB", { timeZone: zone, hourCycle: "h23", year: "numeric", month: "numeric", day: "numeric", hour: "numeric", minute: "numeric" }).formatToParts(instant);
    const get = (type) => Number(parts.find((part) => part.type === type).value);
    return Date.UTC(get("year"), get("month") - 1, get("day"), get("hour"), get("minute"));
  }

  /* The instants, in order, at which the clocks of `zone` show `wall`: none, one or two. */
  function instantsOf(wall, zone) {
    const offsets = [-DAY, DAY].map((step) => onTheWall(wall + step, zone) - (wall + step));
    const candidates = [...new Set(offsets)].map((offset) => wall - offset);
    return candidates.filter((instant) => onTheWall(instant, zone) === wall).sort((a, b) => a - b);
  }

  function tidy(text) {
    const words = text.normalize("NFKC").replace(/[‐‑‒–—−]/g, "-").replace(/\p{Cf}/gu, "").trim().replace(/\s+/g, " ").toLowerCase();
    if (text.length > 60 || /\p{C}/u.test(words)) throw new Doubt("not understood");
    return words;
  }

  function dayAndMonth(found) {
    if (found.name) {
      const month = MONTHS.findIndex((name) => name.startsWith(found.name));
      if (month < 0) throw new Doubt(`“${found.name}” is not a month`);
      return [Number(found.day), month + 1];
    }
    if (found.month) return [Number(found.day), Number(found.month)];
    const [one, other] = [Number(found.one), Number(found.two)];
    if (found.sep === "." || found.sep === " " || one > 12 || one === other || !one || !other) return [one, other];
    if (other > 12) return [other, one];
    throw new Doubt("write the month in letters");
  }

  function splitDay(words, today) {
    for (const form of DAY_FORMS) {
      const found = form.exec(words);
      if (found) return [readDay(found.groups, today), words.slice(found[0].length).replace(LINK, "")];
    }
    throw new Doubt(CLOCK.test(words) ? `which day? “t ${words}” is today` : "not understood yet");
  }

  function readDay(found, today) {
    if (found.word) return today - DAY * (found.word[0] === "y" ? 1 : Number(found.back || 0));
    if (found.year.length !== 4) throw new Doubt("write the year with four digits");
    const [day, month] = dayAndMonth(found);
    const value = Date.UTC(Number(found.year), month - 1, day);
    const check = new Date(value);
    if (check.getUTCMonth() !== month - 1 || check.getUTCDate() !== day) throw new Doubt("there is no such day");
    if (Number(found.year) < 2000) throw new Doubt("before 2000");
    return value;
  }

  function readClock(rest) {
    if (!rest) throw new Doubt("and the time?");
    const found = CLOCK.exec(rest)?.groups;
    if (!found) throw new Doubt("write the time as 14:30 or 1430");
    let hour = Number(found.hour ?? found.bare ?? found.digits.slice(0, -2));
    const minute = Number(found.minute ?? found.digits?.slice(-2) ?? 0);
    if (minute > 59 || hour > 23 || (found.half && (hour < 1 || hour > 12))) throw new Doubt("there is no such time");
    if (found.half) hour = (hour % 12) + (found.half === "p" ? 12 : 0);
    return [(hour * 60 + minute) * 60000, found.tail];
  }

  function place(wall, tail, zone) {
    if (tail && tail !== "first" && tail !== "second") {
      if (tail === "z" || tail === "utc") return wall;
      const minutes = Number(tail.slice(1, 3)) * 60 + Number(tail.slice(3).replace(":", "") || 0);
      if (minutes > 14 * 60 + 59) throw new Doubt("there is no such offset");
      return wall - (tail[0] === "-" ? -1 : 1) * minutes * 60000;
    }
    const instants = instantsOf(wall, zone);
    if (!instants.length) throw new Doubt("skipped when the clocks changed");
    if (instants.length === 2 && !tail) throw new Doubt("came twice: add “first” or “second”");
    if (instants.length === 1 && tail) throw new Doubt(`this time came once: leave out “${tail}”`);
    return instants[tail === "second" ? 1 : 0];
  }

  const shownDay = (wall) => {
    const day = new Date(wall);
    return `${two(day.getUTCDate())}-${capital(MONTHS[day.getUTCMonth()].slice(0, 3))}-${day.getUTCFullYear()}`;
  };

  function shownMoment(instant, zone) {
    const wall = onTheWall(instant, zone);
    const instants = instantsOf(wall, zone);
    const which = instants.length === 2 ? (instants[0] === instant ? " first" : " second") : "";
    return `${shownDay(wall)} ${two(new Date(wall).getUTCHours())}:${two(new Date(wall).getUTCMinutes())}${which}`;
  }

  /* The text in the one form in which it is shown; throws Doubt with what is missing. */
  function read(text, { kind, zone, daysAhead = 1, now = Date.now() }) {
    const words = tidy(text);
    const minute = Math.floor(now / 60000) * 60000;
    const today = Math.floor(onTheWall(now, zone) / DAY) * DAY;
    const isNow = words === "n" || words === "now";
    if (kind === "day") {
      const [day, rest] = isNow ? [today, ""] : splitDay(words, today);
      if (rest) throw new Doubt("the day only, without a time");
      if (day > today + daysAhead * DAY) throw new Doubt("in the future");
      return shownDay(day);
    }
    if (isNow) return shownMoment(minute, zone);
    const [day, rest] = splitDay(words, today);
    const [clock, tail] = readClock(rest);
    const instant = place(day + clock, tail, zone);
    if (instant > now + daysAhead * DAY) throw new Doubt("in the future");
    return shownMoment(instant, zone);
  }

  function weekday(shown) {
    const [day, month, year] = shown.slice(0, 11).split("-");
    const date = new Date(Date.UTC(Number(year), MONTHS.findIndex((name) => name.startsWith(month.toLowerCase())), Number(day)));
    return ["Sun", "Mon", "Tue", "Wed", "Thu", "Fri", "Sat"][date.getUTCDay()];
  }

  function readBack(input) {
    const place = document.querySelector(`output.read-back[for="${CSS.escape(input.id)}"]`);
    if (!place) return;
    const { timeKind, zone, daysAhead } = input.dataset;
    delete place.dataset.state;
    place.textContent = "";
    if (!input.value.trim()) return;
    try {
      const shown = read(input.value, { kind: timeKind, zone, daysAhead: Number(daysAhead ?? 1) });
      place.textContent = `${weekday(shown)} ${shown}`;
      place.dataset.state = "read";
    } catch (doubt) {
      if (!(doubt instanceof Doubt)) throw doubt;
      place.textContent = doubt.message;
      place.dataset.state = "doubt";
    }
  }

  if (typeof document === "undefined") { globalThis.readTypedTime = read; return; }
  document.addEventListener("input", (event) => { if (event.target.dataset?.timeKind) readBack(event.target); });
  for (const input of document.querySelectorAll("input[data-time-kind]")) readBack(input);
})();
