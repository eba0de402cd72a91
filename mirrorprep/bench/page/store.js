/** What the server last said, and the ways to change it. */

import { BenchError, getSchema, getState, postJson } from './api.js';

const WAIT_S = 20;
const RETRY_MS = 1500;

export function makeStore() {
  const store = { state: null, schema: null, connected: true };
  const listeners = new Set();
  const tell = (kind) => listeners.forEach((listener) => listener(kind));

  store.listen = (listener) => listeners.add(listener);
  store.take = (state) => {
    if (!state?.steps || (store.state && state.revision < store.state.revision)) return;
    store.state = state;
    tell('state');
  };
  store.step = (name) => store.state?.steps.find((step) => step.name === name);
  store.entry = (name) => {
    const [table, key] = name.split('.');
    return store.schema?.tables[table]?.entries[key];
  };
  store.value = (name) => {
    const [table, key] = name.split('.');
    const stated = store.state?.job?.[table]?.[key];
    return stated === undefined ? (store.entry(name)?.default ?? null) : stated;
  };
  store.stated = (name) => {
    const [table, key] = name.split('.');
    return store.state?.job?.[table]?.[key] !== undefined;
  };
  store.reload = async () => {
    const state = await getState(-1, 0);
    if (store.state && state.revision < store.state.revision) store.state = null; /* the bench was started anew */
    store.take(state);
  };
  let last = Promise.resolve();
  /** Changes go one after the other, so that each builds on the revision before it. */
  store.change = (changes) => {
    last = last.catch(() => {}).then(() => change(store, changes));
    return last;
  };
  store.follow = () => follow(store, tell);
  return store;
}

async function change(store, changes) {
  try {
    store.take(await postJson('api/job', { base: store.state.job_revision, changes }));
  } catch (error) {
    if (error.status === 409) await store.reload();
    throw error;
  }
}

/** Read the schema and the state, then wait for news; a lost connection is tried again until it is back. */
async function follow(store, tell) {
  for (;;) {
    try {
      store.schema ??= await getSchema();
      const after = store.connected ? (store.state?.revision ?? -1) : -1;
      if (after < 0) await store.reload();
      else store.take(await getState(after, WAIT_S));
      if (!store.connected) {
        store.connected = true;
        tell('connection');
      }
    } catch (error) {
      if (!(error instanceof BenchError)) throw error;
      store.connected = false;
      store.closed = error.status === 404;
      tell('connection');
      await new Promise((done) => setTimeout(done, RETRY_MS));
    }
  }
}
