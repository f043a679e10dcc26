"""What a run has shown so far, small enough to give to anyone who comes late."""

from typing import Any

MOST_COURSE = 1200
"""Points of a step's course that are remembered; of a longer one every second goes, and again."""

MOST_TOLD = 200

_CURVE = ("t_s", "drive_v_rms", "output_w", "thd_n", "supply_v", "supply_a", "supply_w", "heat_w", "temperature_c")


class RunMemory:
    """Takes messages as they are sent, gives them back as one."""

    def __init__(self) -> None:
        self._last: dict[str, dict[str, Any]] = {}
        self._ended: list[dict[str, Any]] = []
        self._told: list[dict[str, Any]] = []
        self._course: list[dict[str, Any]] = []
        self._every, self._count = 1, 0

    @property
    def question(self) -> dict[str, Any] | None:
        """What is being asked."""
        return self._last.get("asked")

    def take(self, message: dict[str, Any]) -> None:
        """Remember a message."""
        match message["event"]:
            case "live":
                self._remember_live(message)
            case "answered":
                self._last.pop("asked", None)
            case "step-begun":
                self._course, self._every, self._count = [], 1, 0
                for name in ("live", "traces", "resting", "tripped"):
                    self._last.pop(name, None)
            case "step-ended":
                self._ended.append(message)
            case "told":
                self._told = [*self._told, message][-MOST_TOLD:]
        if message["event"] not in {"answered", "step-ended", "told"}:
            self._last[message["event"]] = message

    def _remember_live(self, message: dict[str, Any]) -> None:
        self._last.pop("resting", None)
        if message["searching"]:
            return
        if self._count % self._every == 0:
            self._course.append({name: message[name] for name in _CURVE})
        self._count += 1
        if len(self._course) > MOST_COURSE:
            self._course, self._every = self._course[::2], 2 * self._every

    def so_far(self) -> dict[str, Any]:
        """Give all of it: the last message of each kind, the steps that ended, what was told, the step's course."""
        return {
            "event": "so-far",
            "last": dict(self._last),
            "ended": list(self._ended),
            "told": list(self._told),
            "course": list(self._course),
        }
