"""A browser's storage that can be full: `globalThis.roomLeft` is how many bytes more it takes."""

# Chromium enforces no quota that a test could set, so what it says on a full disk is said here: QuotaExceededError,
# as it was seen on a file system of 60 MB.
SMALL = """(() => {
  globalThis.roomLeft = Infinity;
  const weigh = (value) => (value instanceof Blob ? value.size
    : value && typeof value === "object" ? Object.values(value).reduce((sum, each) => sum + weigh(each), 0)
    : String(value).length);
  for (const name of ["add", "put"]) {
    const real = IDBObjectStore.prototype[name];
    IDBObjectStore.prototype[name] = function (value, ...rest) {
      const bytes = weigh(value);
      if (bytes > globalThis.roomLeft) throw new DOMException("no room", "QuotaExceededError");
      globalThis.roomLeft -= bytes;
      return real.call(this, value, ...rest);
    };
  }
  const real = IDBObjectStore.prototype.delete;
  IDBObjectStore.prototype.delete = function (key) {
    if (key === "reserve") globalThis.roomLeft += 20e6;
    return real.call(this, key);
  };
})()"""
