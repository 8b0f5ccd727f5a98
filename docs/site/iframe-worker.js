// Search in pages that are opened from a folder: browsers start no worker there, so that its script
// runs in a hidden frame, which takes and gives the same messages.
if (window.location.protocol === "file:") {
  const load = (frame, url) =>
    new Promise((done, failed) => {
      const script = frame.contentDocument.createElement("script");
      script.src = url;
      script.onload = done;
      script.onerror = failed;
      frame.contentDocument.head.append(script);
    });

  window.Worker = class extends EventTarget {
    constructor(url) {
      super();
      this.frame = document.createElement("iframe");
      this.frame.hidden = true;
      document.body.append(this.frame);
      const inside = this.frame.contentWindow;
      inside.postMessage = (data) => this.dispatchEvent(new MessageEvent("message", { data }));
      inside.importScripts = (...urls) =>
        urls.reduce((before, one) => before.then(() => load(this.frame, one)), Promise.resolve());
      this.loaded = load(this.frame, url);
    }

    postMessage(data) {
      this.loaded.then(() =>
        this.frame.contentWindow.dispatchEvent(new MessageEvent("message", { data })),
      );
    }

    terminate() {
      this.frame.remove();
    }
  };
}
