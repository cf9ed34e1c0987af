"""Hands at the bench that never give up: what was not acknowledged is sent again under the same key."""

import hashlib
import json
import threading
import time
import uuid
from dataclasses import dataclass, field

import cv2
import numpy as np

from tests.lab import Lab, Visitor

PHOTOGRAPH_EVERY = 5


def picture(hand: int, number: int) -> bytes:
    """Take a photograph that no other hand took."""
    grey = np.random.default_rng([hand, number]).integers(0, 255, (60, 80), np.uint8)
    return bytes(cv2.imencode(".jpg", cv2.resize(grey, (640, 480)))[1].tobytes())


@dataclass
class Hand:
    """One tablet that logs and photographs until it is told to stop; it remembers what was acknowledged."""

    lab: Lab
    number: int
    stop: threading.Event
    most: int = 10**6
    entries: dict[str, str] = field(default_factory=dict)
    photographs: dict[str, str] = field(default_factory=dict)
    refusals: list[str] = field(default_factory=list)
    again: int = 0

    def start(self) -> threading.Thread:
        """Begin."""
        thread = threading.Thread(target=self._work, daemon=True)
        thread.start()
        return thread

    def _work(self) -> None:
        visitor, sent = self._sign_in(), 0
        while not self.stop.is_set() and sent < self.most:
            sent += 1
            if sent % PHOTOGRAPH_EVERY:
                words = f"hand {self.number}, word {sent}"
                self._until_acknowledged(visitor, words)
            else:
                self._photograph(visitor, picture(self.number, sent))

    def _sign_in(self) -> Visitor:
        while True:
            visitor = Visitor(self.lab)
            try:
                visitor.sign_in("bench", "a long password")
                return visitor
            except (OSError, AssertionError):
                time.sleep(0.1)

    def _until_acknowledged(self, visitor: Visitor, words: str) -> None:
        key = str(uuid.uuid4())
        item = {"kind": "entry", "key": key, "cell": f"SP-000{1 + self.number % 2}",
                "said": {"term": "note.words", "value": words}}  # fmt: skip
        while True:
            status, answer = self._send(visitor, item)
            if status == 200:
                state = json.loads(answer)["answers"][0]
                if state["state"] in ("kept", "kept already"):
                    self.entries[key] = words
                else:
                    self.refusals.append(str(state))
                return
            if status and status not in (502, 503):
                self.refusals.append(f"{status} {answer[:300]}")
                return
            if self.stop.is_set():
                return
            self.again += 1
            time.sleep(0.05)

    def _send(self, visitor: Visitor, item: dict[str, object]) -> tuple[int, str]:
        try:
            return visitor.send_json("/bench/keep/", json.dumps({"items": [item]}).encode())
        except OSError:
            return 0, ""

    def _photograph(self, visitor: Visitor, data: bytes) -> None:
        key, digest = str(uuid.uuid4()), hashlib.sha256(data).hexdigest()
        fields = {"key": key, "cell": f"SP-000{1 + self.number % 2}", "sha256": digest}
        while True:
            try:
                status, answer = visitor.post("/bench/keep/photograph/", fields, {"file": ("P1.JPG", data)})
            except OSError:
                status, answer = 0, ""
            if status == 200:
                self.photographs[key] = digest
                return
            if status and status not in (502, 503):
                self.refusals.append(f"{status} {answer[:300]}")
                return
            if self.stop.is_set():
                return
            self.again += 1
            time.sleep(0.05)
