// Who sees and who types on a shared tablet: another person by PIN, or a scribe for one who only sees.

import { dialog, part, root, tell } from "./bench-page.js";
import { newKey } from "./bench-queue.js";

const HELD = "bench-person";

export class People {
  constructor({ queue }) { Object.assign(this, { queue, person: JSON.parse(localStorage.getItem(HELD) ?? "null") }); }

  whose() { return this.person?.scribed ? { observer: this.person.username } : {}; }

  credential() { return this.person && !this.person.scribed ? { credential: this.person.credential } : {}; }

  async change(form, how) {
    const username = form.username.value, name = form.username.selectedOptions[0]?.textContent;
    if (how === "scribe") this.person = username === root.dataset.user ? null : { username, name, scribed: true };
    else if (!(await this.byPin(form, username, name))) return;
    localStorage.setItem(HELD, JSON.stringify(this.person));
    form.pin.value = "";
    dialog("person").close();
    tell(this.person ? `${name} sees${this.person.scribed ? "; you type" : ""}.` : "You see and type.");
  }

  async byPin(form, username, name) {
    const credential = newKey() + newKey(), body = new FormData(form);
    body.set("credential", credential);
    const answer = await this.queue.post(root.dataset.person, body), right = Boolean(answer) && !answer.error;
    part("person-error").textContent = right ? "" : answer?.error ?? this.queue.trouble;
    form.pin.value = "";
    if (right) this.person = { username, name, credential, scribed: false };
    return right;
  }
}
