// The plan being edited: its present state, its past, and the copy at the server. Saved item by item, so that two
// devices that change different items both win.

import { notice, send } from "../door.js";
import { t } from "../words.js";
import { changed, changesBetween, sameItem } from "./merge.js";

const WAIT_MS = 350;
const DEEPEST = 200;

export class PlanBook {
  constructor({ surveyId, revision, plan, onChange, onState }) {
    this.surveyId = surveyId;
    this.revision = revision;
    this.base = plan; // as the server has it, as far as this page knows
    this.doc = plan;
    this.past = [];
    this.future = [];
    this.onChange = onChange;
    this.onState = onState;
    this.dirty = false;
    this.key = `plan:${surveyId}`;
    this.recover();
    window.addEventListener("beforeunload", (event) => { if (this.dirty) event.preventDefault(); });
  }

  // A plan that was drawn but never reached the server, kept by this browser with the state that it began from.
  recover() {
    const kept = localStorage.getItem(this.key);
    if (!kept) return;
    const { revision, base, doc } = JSON.parse(kept);
    if (!base && revision !== this.revision) {
      localStorage.removeItem(this.key);
      return;
    }
    if (base) Object.assign(this, { revision, base });
    this.doc = doc;
    this.dirty = true;
    setTimeout(() => this.save(), 50);
  }

  // One step that can be undone. `change` receives a copy and may return false to take nothing.
  edit(change, { merge = "" } = {}) {
    const next = structuredClone(this.doc);
    if (change(next) === false) return;
    if (!(merge && this.merging === merge)) {
      this.past.push(this.doc);
      if (this.past.length > DEEPEST) this.past.shift();
    }
    this.merging = merge;
    this.future = [];
    this.take(next);
  }

  endMerge() { this.merging = ""; }

  undo() {
    if (!this.past.length) return;
    this.future.push(this.doc);
    this.merging = "";
    this.take(this.past.pop());
  }

  redo() {
    if (!this.future.length) return;
    this.past.push(this.doc);
    this.take(this.future.pop());
  }

  take(doc) {
    this.doc = doc;
    this.dirty = true;
    this.hold();
    this.onChange();
    this.onState(t("Saving ..."));
    clearTimeout(this.timer);
    this.timer = setTimeout(() => this.save(), WAIT_MS);
  }

  hold() { localStorage.setItem(this.key, JSON.stringify({ revision: this.revision, base: this.base, doc: this.doc })); }

  async save() {
    if (this.saving || this.asking) return;
    this.saving = true;
    const sent = this.doc;
    const changes = changesBetween(this.base, sent);
    try {
      const told = changes.length ? await send("PATCH", `/api/v1/surveys/${this.surveyId}/plan`, { revision: this.revision, changes }) : { revision: this.revision, plan: null, conflicts: [] };
      this.revision = told.revision;
      if (told.plan) this.takeIn(told, sent, changes);
      else this.base = sent;
      if (told.conflicts.length) {
        this.hold();
        this.ask(told.conflicts);
      } else if (!changesBetween(this.base, this.doc).length) {
        this.dirty = false;
        localStorage.removeItem(this.key);
        this.onState(t("Saved"));
      } else {
        this.hold();
        this.timer = setTimeout(() => this.save(), WAIT_MS);
      }
    } catch (error) {
      this.failed(error);
    } finally {
      this.saving = false;
    }
  }

  // Others changed the plan as well: theirs is taken in everywhere, in the steps that can be undone too, and what is
  // disputed or was drawn meanwhile stays ours here until it is answered or sent.
  takeIn(told, sent, changes) {
    const disputed = changes.filter((one) => told.conflicts.some((other) => sameItem(one, other)));
    const meanwhile = changesBetween(sent, this.doc);
    const theirs = changesBetween(sent, told.plan).filter((one) => !disputed.some((other) => sameItem(one, other)));
    this.base = told.plan;
    this.doc = changed(told.plan, [...disputed, ...meanwhile]);
    this.past = this.past.map((doc) => changed(doc, theirs));
    this.future = this.future.map((doc) => changed(doc, theirs));
    this.onChange();
  }

  ask(conflicts) {
    this.asking = true;
    this.onState(t("Not saved"));
    this.onConflict(conflicts, (mine) => {
      this.asking = false;
      if (!mine) {
        this.doc = changed(this.doc, conflicts.map(({ kind, id, theirs }) => ({ kind, id, after: theirs })));
        this.onChange();
      }
      this.save();
    });
  }

  failed(error) {
    this.onState(t("Not saved"));
    if (error.status === 0 || error.status >= 500) {
      this.onState(t("Kept in this browser until the server is back"));
      this.timer = setTimeout(() => this.save(), 2000);
    } else {
      notice(error.message, { action: t("Undo"), run: () => this.undo(), stay: true });
    }
  }
}
