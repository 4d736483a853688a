// Words and times. Working time is rounded down, waiting time up.
const plan = JSON.parse(document.getElementById("plan-data").textContent);
for (const key of ["buckets", "calls"]) {
  const { names, since, instants, rows: found } = plan[key];
  const read = (value, name) => (value !== null && instants.includes(name) ? value + since : value);
  plan[key] = found.map((row) => Object.fromEntries(row.map((value, place) => [names[place], read(value, names[place])])));
}
const WEEKDAYS = ["Mon", "Tue", "Wed", "Thu", "Fri", "Sat", "Sun"];
const partsOf = new Intl.DateTimeFormat("en-US", {
  timeZone: plan.zone, weekday: "short", year: "numeric", day: "numeric", month: "numeric",
  hour: "2-digit", minute: "2-digit", second: "2-digit", hourCycle: "h23",
});

function local(at) {
  const found = {};
  for (const part of partsOf.formatToParts(new Date(at * 1000))) found[part.type] = part.value;
  return found;
}

function word(language, key, values) {
  const template = plan.words[language][key];
  return template.replace(/\{(\w+)\}/g, (_, name) => String(values[name]));
}

// Each minute's text is made once: a table of hundreds of rows is gone through every tick.
const clockTexts = new Map();

function clockText(at) {
  const minute = Math.floor(at / 60);
  if (!clockTexts.has(minute)) clockTexts.set(minute, clockTextOf(minute * 60));
  return clockTexts.get(minute);
}

function clockTextOf(at) {
  const text = wallText(local(at), "");
  // Where the wall's clock shows this time twice, which of the two.
  const twice = plan.repeats.find((one) => one.from <= at && at < one.to);
  return twice ? text + " " + twice.name : text;
}

function wallText(part, seconds) {
  const hour = Number(part.hour);
  const shown = part.minute + seconds;
  if (plan.clock === "24 h") return part.hour + ":" + shown;
  return ((hour + 11) % 12 + 1) + ":" + shown + (hour < 12 ? " AM" : " PM");
}

// So far off no other day of that name could be meant.
const ONE_WEEKDAY_S = 6 * 86400;

// A time of day, with its weekday where that is not today's, and its date where it is far off.
function whenText(language, at, now, up) {
  const shown = up ? Math.ceil(at / 60) * 60 : at;
  const there = local(shown);
  const here = local(now);
  if (there.day === here.day && there.month === here.month) return clockText(shown);
  const names = plan.words[language].weekdays.split(" ");
  const weekday = names[WEEKDAYS.indexOf(there.weekday)];
  if (Math.abs(shown - now) <= ONE_WEEKDAY_S) return weekday + " " + clockText(shown);
  const month = plan.words[language].months.split(" ")[there.month - 1];
  return [weekday, there.day, month, clockText(shown)].join(" ");
}

function span(seconds) {
  const whole = Math.floor(seconds);
  if (whole < 600) return Math.floor(whole / 60) + ":" + String(whole % 60).padStart(2, "0") + " min";
  const minutes = Math.floor(whole / 60);
  if (minutes < 60) return minutes + " min";
  const hours = Math.floor(minutes / 60);
  return hours < 48 ? hours + " h " + (minutes % 60) + " min" : Math.floor(hours / 24) + " d";
}

function countdown(language, at, now) {
  const left = at - now;
  if (left >= 1) return word(language, "in", { time: span(left) });
  if (left > -60) return word(language, "now", {});
  return word(language, "ago", { time: span(-left) });
}

function marginText(seconds) {
  return String(Math.floor(seconds / 60));
}

function stateOf(seconds) {
  if (seconds < 0) return "short";
  return seconds < Math.floor(plan.policy_s) ? "tight" : "kept";
}

const SHAPES = { kept: "●", tight: "◆", short: "▲" };

function bucketName(language, index) {
  const bucket = plan.buckets[index];
  return word(language, "bucket", { room: plan.rooms[bucket.room].name, number: bucket.number });
}
