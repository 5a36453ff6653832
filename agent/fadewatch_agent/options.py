"""The table of the agent's commands and options."""

from fadewatch_agent.arguments import Command, Option
from fadewatch_agent.configuration import DEFAULT_FILE

_JSON = Option("json", "print it as JSON")
_ROOT = Option("root", "read a saved tree of /sys and /proc (on Linux)", "DIR")
_COLLECTOR = Option("collector", "address of the collector", "URL")
_TOKEN_FILE = Option("token-file", "file with the enrolment token", "FILE")
_CA = Option("ca", "file with the only certificates to trust", "FILE")
_PROXY = Option("proxy", "address of the proxy to the collector", "URL")
_EVERY = Option("every", "how often to read, such as 6h (default 6h)", "PERIOD")
_DESTINATION = Option("destination", "root of a mounted image to work on", "DIR")
_SETTINGS = (
    Option("config", f"settings file (default {DEFAULT_FILE})", "FILE"),
    _COLLECTOR,
    _TOKEN_FILE,
    _CA,
    _PROXY,
    Option("state", "folder of queue and key", "DIR"),
)
_PATIENCE = Option(
    "patience", "wait this long for the collector to come back (default 60)", "SECONDS"
)
_SPREAD = Option("spread", "before enrolling wait at random, this at most", "TIME")
_DELAY = Option("delay", "once enrolled, wait at random before reading", "TIME")
COMMANDS = {
    "read": Command("read this laptop now and print it", (_JSON, _ROOT)),
    "bench": Command(
        "check on the bench whether this laptop may be issued",
        (
            _JSON,
            Option("new-pack", "after a change: the pack should be a new one"),
            Option("service-years", "years it is to serve (default: policy)", "N"),
            Option("offline", "do not ask the collector for its figures"),
            _ROOT,
            *_SETTINGS,
        ),
    ),
    "report": Command(
        "read, queue on disk, deliver what is queued",
        (_ROOT, _PATIENCE, _SPREAD, _DELAY, *_SETTINGS),
    ),
    "watch": Command(
        "report again and again, where the system has no timer",
        (_EVERY, _ROOT, _PATIENCE, _SPREAD, *_SETTINGS),
    ),
    "status": Command(
        "show the queue, the last delivery, the last error", (_JSON, *_SETTINGS)
    ),
    "install": Command(
        "set up under the system's own timer; run again it changes what differs",
        (
            _COLLECTOR,
            _TOKEN_FILE._replace(help="file with the token; - is standard input"),
            Option("token-descriptor", "open descriptor to read the token from", "N"),
            _EVERY,
            _CA,
            _PROXY,
            Option("image", "prepare an image: start nothing, keep nothing"),
            _DESTINATION,
        ),
    ),
    "uninstall": Command(
        "take timer, settings, key and queue away",
        (Option("keep-state", "leave key and queue"), _DESTINATION),
    ),
    "check-image": Command(
        "say whether an image is free of this laptop's traces", (_DESTINATION,)
    ),
    "verify": Command("compare the program's files with what was built", ()),
}
