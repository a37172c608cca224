// The plan being edited: its present state, its past, and the copy at the server.

import { notice, send } from "../door.js";
import { t } from "../words.js";

const WAIT_MS = 350;
const DEEPEST = 200;

export class PlanBook {
  constructor({ surveyId, revision, plan, onChange, onState }) {
    this.surveyId = surveyId;
    this.revision = revision;
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

  // A plan that was drawn but never reached the server, kept by this browser.
  recover() {
    const kept = localStorage.getItem(this.key);
    if (!kept) return;
    const { revision, doc } = JSON.parse(kept);
    if (revision !== this.revision) {
      localStorage.removeItem(this.key);
      return;
    }
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
    localStorage.setItem(this.key, JSON.stringify({ revision: this.revision, doc }));
    this.onChange();
    this.onState(t("Saving ..."));
    clearTimeout(this.timer);
    this.timer = setTimeout(() => this.save(), WAIT_MS);
  }

  async save() {
    if (this.saving) return;
    this.saving = true;
    const sent = this.doc;
    try {
      const told = await send("PUT", `/api/v1/surveys/${this.surveyId}/plan?revision=${this.revision}`, sent);
      this.revision = told.revision;
      if (this.doc === sent) {
        this.dirty = false;
        localStorage.removeItem(this.key);
        this.onState(t("Saved"));
      } else {
        this.timer = setTimeout(() => this.save(), WAIT_MS);
      }
    } catch (error) {
      this.failed(error);
    } finally {
      this.saving = false;
    }
  }

  failed(error) {
    this.onState(t("Not saved"));
    if (error.status === 0) {
      this.onState(t("Kept in this browser until the server is back"));
      this.timer = setTimeout(() => this.save(), 2000);
    } else if (error.body?.conflict) {
      this.onConflict(error.body);
    } else {
      notice(error.message, { action: t("Undo"), run: () => this.undo(), stay: true });
    }
  }

  keepMine(found) {
    this.revision = found;
    this.save();
  }

  takeTheirs() {
    localStorage.removeItem(this.key);
    this.dirty = false;
    window.location.reload();
  }
}
