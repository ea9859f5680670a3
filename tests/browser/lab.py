"""One JupyterLab and one Chromium for the browser tests and the latency benchmark: started, driven, ended.

The server gets a copy of the notebooks (Lab saves what it opens) and settings folders of its own.
"""

import contextlib
import json
import os
import signal
import socket
import subprocess
import sys
import time
import urllib.request
from pathlib import Path

BROWSERS = ("/usr/bin/chromium", "/usr/bin/chromium-browser", "/usr/bin/google-chrome")
TOKEN = "only-for-this-test"
_QUIET = ["--no-sandbox", "--disable-gpu", "--disable-quic", "--no-first-run", "--disable-background-networking",
          "--disable-component-update", "--disable-sync", "--disable-dev-shm-usage"]
_FOLDERS = ("JUPYTER_CONFIG_DIR", "JUPYTER_DATA_DIR", "JUPYTER_RUNTIME_DIR", "JUPYTERLAB_SETTINGS_DIR",
            "JUPYTERLAB_WORKSPACES_DIR", "IPYTHONDIR", "MPLCONFIGDIR")
# Running before the kernel is ready would run nothing without a word; an error in a slider's callback is seen
# nowhere but in the kernel's messages.
_RUN_ALL = """async (seconds) => {
  const late = new Promise((_, no) => setTimeout(() => no(new Error(`not done in ${seconds} s`)), 1000 * seconds));
  const run = async () => {
  const app = window.jupyterapp; await app.restored;
  const panel = app.shell.currentWidget; await panel.revealed; await panel.context.ready;
  await panel.sessionContext.ready;
  const kernel = panel.sessionContext.session.kernel; await kernel.info;
  window.kernelErrors = [];
  kernel.iopubMessage.connect((_, message) => {
    if (message.header.msg_type === 'error')
      window.kernelErrors.push(message.content.ename + ': ' + message.content.evalue);
  });
  return await app.commands.execute('notebook:run-all-cells');
  };
  return await Promise.race([run(), late]);
}"""


def find_browser():
    """Path of the system's Chromium, or None."""
    return next((path for path in BROWSERS if Path(path).exists()), None)


def _free_port():
    with socket.socket() as probe:
        probe.bind(("127.0.0.1", 0))
        return probe.getsockname()[1]


def _wait(address, process, seconds=60):
    end = time.monotonic() + seconds
    while time.monotonic() < end:
        if process.poll() is not None:
            raise RuntimeError(f"JupyterLab ended with code {process.returncode}")
        with contextlib.suppress(OSError):
            urllib.request.urlopen(address, timeout=2).close()
            return
        time.sleep(0.1)
    raise RuntimeError(f"JupyterLab did not answer within {seconds} s")


@contextlib.contextmanager
def server(root, work):
    """Run JupyterLab on the folder `root`, settings in `work`; yields its address without a slash at the end."""
    port, env = _free_port(), dict(os.environ)
    for name in _FOLDERS:
        env[name] = str(Path(work) / name.lower())
        Path(env[name]).mkdir(parents=True, exist_ok=True)
    env["PYTHONPATH"] = os.pathsep.join(filter(None, (str(Path(__file__).parents[2]), env.get("PYTHONPATH"))))
    config = Path(env["JUPYTER_CONFIG_DIR"]) / "labconfig"
    config.mkdir(exist_ok=True)
    # The pop-up that asks about news has no other switch that works.
    off = {"disabledExtensions": {"@jupyterlab/apputils-extension:announcements": True}}
    (config / "page_config.json").write_text(json.dumps(off))
    command = [sys.executable, "-m", "jupyterlab", "--no-browser", "--allow-root", "--ServerApp.ip=127.0.0.1",
               f"--ServerApp.port={port}", "--ServerApp.port_retries=0", f"--IdentityProvider.token={TOKEN}",
               f"--ServerApp.root_dir={root}", "--LabApp.expose_app_in_browser=True",
               "--LabApp.extension_manager=readonly"]
    with open(Path(work) / "lab.log", "w") as log:
        # A session of its own, so that the kernels end with the server.
        process = subprocess.Popen(command, env=env, stdout=log, stderr=log, start_new_session=True)
    try:
        _wait(f"http://127.0.0.1:{port}/api/status?token={TOKEN}", process)
        yield f"http://127.0.0.1:{port}"
    finally:
        for sign in (signal.SIGTERM, signal.SIGKILL):
            with contextlib.suppress(ProcessLookupError):
                os.killpg(process.pid, sign)
            with contextlib.suppress(subprocess.TimeoutExpired):
                process.wait(5)


@contextlib.contextmanager
def chromium():
    """A headless Chromium; yields the browser."""
    from playwright.sync_api import sync_playwright

    with sync_playwright() as play:
        browser = play.chromium.launch(executable_path=find_browser(), args=_QUIET)
        try:
            yield browser
        finally:
            browser.close()


class Sheet:
    """One notebook in a page of its own; remembers what the page asked of other addresses and what went wrong."""

    def __init__(self, browser, address, name):
        self.context = browser.new_context(viewport={"width": 1280, "height": 900})
        self.page, self.address = self.context.new_page(), address
        self.strangers, self.faults = [], []
        self.page.on("request", self._note)
        self.page.on("pageerror", lambda fault: self.faults.append(str(fault)))
        self.page.goto(f"{address}/lab/tree/{name}?token={TOKEN}&reset", wait_until="domcontentloaded")
        self.page.wait_for_function("window.jupyterapp && window.jupyterapp.shell.currentWidget", timeout=60_000)

    def _note(self, request):
        if not request.url.startswith((self.address, self.address.replace("http", "ws", 1), "data:", "blob:")):
            self.strangers.append(request.url)

    def run_all(self, seconds=90):
        """Run every cell; False if one failed. Raises when the kernel does not start or the cells do not end."""
        return self.page.evaluate(_RUN_ALL, seconds)

    def kernel_errors(self):
        """Error messages that the kernel has sent since run_all, callbacks included."""
        return self.page.evaluate("window.kernelErrors")

    def close(self):
        """Close the page and end its kernel, so that kernels do not pile up."""
        self.context.close()
        for session in json.load(urllib.request.urlopen(f"{self.address}/api/sessions?token={TOKEN}")):
            urllib.request.urlopen(urllib.request.Request(f"{self.address}/api/sessions/{session['id']}?token={TOKEN}",
                                                          method="DELETE")).close()
