"""A headless audio server whose output comes back as its input: everything played is recorded, sample for sample."""

import os
import shutil
import subprocess
import tempfile
import time
from contextlib import ExitStack, contextmanager
from dataclasses import dataclass
from pathlib import Path

import pytest
from services.missing import missing

PROGRAMS = ("dbus-daemon", "pipewire", "wireplumber", "pipewire-pulse", "pactl")
PULSE_PLUGIN = "alsa-lib/libasound_module_pcm_pulse.so"
PLAY, HEAR = "bench_out", "bench_in"
READY_S = 20.0

SERVER = """
context.properties = {
  default.clock.rate = 48000
  default.clock.allowed-rates = [ 48000 ]
  default.clock.quantum = 4096
  default.clock.min-quantum = 4096
}
context.objects = [ {
  factory = adapter
  args = {
    factory.name = support.null-audio-sink
    node.name = loop
    media.class = Audio/Sink
    object.linger = true
    audio.position = [ FL FR ]
  }
} ]
"""
DEVICES = """
</usr/share/alsa/alsa.conf>
pcm.{play} {{ type pulse server "unix:{run}/pulse/native" device "loop" hint {{ show on description "loop" }} }}
pcm.{hear} {{ type pulse server "unix:{run}/pulse/native" device "loop.monitor" hint {{ show on description "loop" }} }}
"""


@dataclass(frozen=True)
class Loopback:
    """The names of its devices, and the environment in which a program finds them."""

    play: str
    hear: str
    environment: dict


@pytest.fixture(scope="session")
def loopback():
    """A server of the test session's own, stopped at its end."""
    lacking = [name for name in PROGRAMS if shutil.which(name) is None]
    if not any(Path("/usr/lib").glob(f"*/{PULSE_PLUGIN}")):
        lacking.append("libasound2-plugins")
    try:
        import sounddevice  # noqa: F401
    except OSError:
        lacking.append("libportaudio2")
    if lacking:
        missing(f"live audio ({', '.join(lacking)})")
    folder = Path(tempfile.mkdtemp(prefix="dustcap-audio-"))
    try:
        with ExitStack() as running:
            yield _started(folder, running)
    finally:
        shutil.rmtree(folder, ignore_errors=True)


def _started(folder, running):
    settings = folder / "settings" / "pipewire" / "pipewire.conf.d"
    settings.mkdir(parents=True)
    (settings / "loop.conf").write_text(SERVER)
    (folder / "asound.conf").write_text(DEVICES.format(play=PLAY, hear=HEAR, run=folder))
    folder.chmod(0o700)
    environment = {key: value for key, value in os.environ.items() if not key.startswith(("PULSE_", "PIPEWIRE_"))}
    environment |= {
        "XDG_RUNTIME_DIR": str(folder),
        "XDG_CONFIG_HOME": str(folder / "settings"),
        "XDG_STATE_HOME": str(folder / "state"),
        "HOME": str(folder),
        "PULSE_SERVER": f"unix:{folder}/pulse/native",
        "ALSA_CONFIG_PATH": str(folder / "asound.conf"),
        "DBUS_SESSION_BUS_ADDRESS": f"unix:path={folder}/bus",
    }
    steps = (
        (("dbus-daemon", "--session", "--nofork", "--nopidfile", f"--address=unix:path={folder}/bus"), "bus"),
        (("pipewire",), "pipewire-0"),
        (("wireplumber",), None),
        (("pipewire-pulse",), "pulse/native"),
    )
    for words, socket in steps:
        running.enter_context(_program(words, environment, folder))
        if socket is not None:
            _wait(lambda name=socket: (folder / name).exists(), f"{words[0]} does not start", folder)
    _wait(lambda: _has_monitor(environment), "the loop does not appear", folder)
    return Loopback(PLAY, HEAR, environment)


def _has_monitor(environment):
    told = subprocess.run(["pactl", "list", "short", "sources"], env=environment, capture_output=True, text=True)
    return "loop.monitor" in told.stdout


@contextmanager
def _program(words, environment, folder):
    """One program of the server, ended by its own id."""
    with (folder / f"{words[0]}.log").open("wb") as log:
        process = subprocess.Popen(words, env=environment, stdout=log, stderr=log, stdin=subprocess.DEVNULL)
        try:
            yield process
        finally:
            process.terminate()
            try:
                process.wait(timeout=5)
            except subprocess.TimeoutExpired:
                process.kill()
                process.wait()


def _wait(ready, what, folder):
    deadline = time.monotonic() + READY_S
    while not ready():
        if time.monotonic() > deadline:
            logs = "\n".join(f"{path.name}: {path.read_text(errors='replace')[-300:]}" for path in folder.glob("*.log"))
            raise RuntimeError(f"{what}\n{logs}")
        time.sleep(0.05)
