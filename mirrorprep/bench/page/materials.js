/** Materials as the server lists them: names, or objects with a name. */

export const materialOptions = (bench) =>
  (bench.store.schema.materials ?? []).map((item) => [item.name ?? item, item.name ?? item]);
