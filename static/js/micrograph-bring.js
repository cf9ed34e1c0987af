// Many pictures at once: more than one request takes are sent in parts, which make one plan on the server.
// A text and the picture beside it go together. What was sent is kept, should the sending stop.

const MOST_FILES = 100;
const MOST_BYTES = 256 * 2 ** 20;

/** Files in parts: those of one name side by side in one part, none with too many or too much. */
export function parts(files, mostFiles = MOST_FILES, mostBytes = MOST_BYTES) {
  const stem = (file) => (file.webkitRelativePath || file.name).replace(/\.[^./]*$/, "").toLowerCase();
  const together = new Map();
  for (const file of files) together.set(stem(file), [...(together.get(stem(file)) ?? []), file]);
  const made = [];
  let bytes = 0;
  for (const group of together.values()) {
    const heavy = group.reduce((sum, file) => sum + file.size, 0);
    const last = made.at(-1);
    if (last && last.length + group.length <= mostFiles && bytes + heavy <= mostBytes) {
      last.push(...group);
      bytes += heavy;
    } else {
      made.push([...group]);
      bytes = heavy;
    }
  }
  return made;
}

class Bringing {
  constructor(form) {
    this.form = form;
    this.told = form.querySelector("[data-told]");
    this.list = form.querySelector("[data-refused]");
    this.on = form.querySelector("[data-go-on]");
    form.addEventListener("submit", (event) => this.submit(event));
    this.on.addEventListener("click", () => this.send());
    window.addEventListener("beforeunload", (event) => { if (this.sending) event.preventDefault(); });
  }

  get files() {
    return [...this.form.querySelectorAll("input[type=file]")].flatMap((box) => [...box.files]);
  }

  submit(event) {
    const { files } = this;
    this.parts = parts(files, Number(this.form.dataset.most ?? MOST_FILES));
    if (this.parts.length < 2) return;
    event.preventDefault();
    if (this.sending) return;
    [this.count, this.sent, this.onto, this.plans, this.lost] = [files.length, 0, "", [], 0];
    this.list.replaceChildren();
    this.send();
  }

  async send() {
    this.sending = true;
    this.on.hidden = true;
    this.press(true);
    this.say(`${this.sent} of ${this.count} files sent …`);
    while (this.parts.length) {
      const stopped = await this.sendOne(this.parts[0]);
      if (stopped) { this.stop(stopped); return; }
      this.sent += this.parts.shift().length;
      this.say(`${this.sent} of ${this.count} files sent …`);
    }
    this.finish();
  }

  /** Send one part; give why the sending stopped, or nothing. */
  async sendOne(part) {
    const body = new FormData();
    for (const [name, value] of new FormData(this.form)) if (typeof value === "string") body.append(name, value);
    body.set("part", "on");
    body.set("onto", this.onto);
    for (const file of part) body.append("pictures", file, file.name);
    try {
      const answer = await fetch(this.form.action, { method: "POST", body });
      const found = await answer.json();
      if (!answer.ok) {
        this.onto = ""; // what is sent on after a refusal, as of a full plan, makes a plan of its own
        return found.refused;
      }
      if (!found.onto) this.tellRefused(found.refused);
      else if (found.onto !== this.onto) this.plans.push(found.plan);
      this.onto = found.onto ?? this.onto;
      return "";
    } catch {
      return "No answer came, or you are no longer signed in.";
    }
  }

  /** What was refused before there was a plan to write it into stands here. */
  tellRefused(refused) {
    for (const { name, reason } of refused) {
      const item = document.createElement("li");
      const strong = document.createElement("strong");
      strong.textContent = name;
      item.className = "error";
      item.append(strong, ` ${reason}`);
      this.list.append(item);
      this.lost += 1;
    }
  }

  stop(why) {
    this.rest();
    this.on.hidden = false;
    this.say(`The sending stopped after ${this.sent} of ${this.count} files. ${why}`);
    this.on.focus();
  }

  finish() {
    this.rest();
    if (this.plans.length === 1 && !this.lost) { window.location.assign(this.plans[0]); return; }
    const lost = this.lost ? ` ${this.lost} could not be taken.` : "";
    this.say(this.plans.length ? `All are sent.${lost}` : `None of these files is a picture that can be measured.`);
  }

  rest() {
    this.sending = false;
    this.press(false);
  }

  press(busy) { this.form.querySelectorAll("button:not([data-go-on])").forEach((button) => { button.disabled = busy; }); }

  /** Say it, and where what was sent waits to be booked. */
  say(words) {
    this.told.textContent = words;
    if (this.sending) return;
    this.plans.forEach((plan, number) => {
      const link = document.createElement("a");
      link.href = plan;
      link.textContent = this.plans.length > 1 ? `See plan ${number + 1} of what was sent` : "See the plan of what was sent";
      this.told.append(" ", link);
    });
  }
}

document.querySelectorAll("form[data-bring]").forEach((form) => new Bringing(form));
