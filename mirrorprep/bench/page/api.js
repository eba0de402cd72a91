/** Calls to the server; every address is relative to the page, whose path holds the token. */

/** An error in the words of the server: one sentence, and what helps. */
export class BenchError extends Error {
  constructor(message, { remedy = '', status = 0 } = {}) {
    super(message);
    this.remedy = remedy;
    this.status = status;
  }
}

async function call(method, path, { body, type, signal } = {}) {
  let answer;
  try {
    const headers = type ? { 'Content-Type': type } : {};
    answer = await fetch(path, { method, body, headers, signal, cache: 'no-store', credentials: 'omit' });
  } catch (error) {
    if (error.name === 'AbortError') throw error;
    throw new BenchError('The bench does not answer.', { remedy: 'Is its terminal still open? The page tries again by itself.' });
  }
  if (!answer.ok) throw await errorOf(answer);
  return answer;
}

async function errorOf(answer) {
  const said = await answer.json().catch(() => ({}));
  const error = said.error ?? {};
  return new BenchError(error.message ?? `The bench answered ${answer.status}.`, {
    remedy: error.remedy ?? '',
    status: answer.status,
  });
}

const asJson = (data) => ({ body: JSON.stringify(data), type: 'application/json' });

export const getSchema = async () => (await call('GET', 'api/schema')).json();
export const getState = async (after, wait, signal) =>
  (await call('GET', `api/state?after=${after}&wait=${wait}`, { signal })).json();
export const getJson = async (path) => (await call('GET', path)).json();
export const getBuffer = async (path) => (await call('GET', path)).arrayBuffer();
export const postJson = async (path, data = {}) => (await call('POST', path, asJson(data))).json();
export const putJson = async (path, data) => (await call('PUT', path, asJson(data))).json();
export const postBuffer = async (path, data) => (await call('POST', path, asJson(data))).arrayBuffer();
export const putFile = async (path, file) =>
  (await call('PUT', path, { body: file, type: 'application/octet-stream' })).json();
