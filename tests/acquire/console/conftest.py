"""What stands in for the recorder where only the screen is asked."""


class Recorder:
    """Notes what the screen asks for."""

    def __init__(self, setup):
        self.setup, self.marks, self.stops, self.now = setup, [], [], 0.0

    def now_s(self):
        return self.now

    def mark(self, text="", kind="mark"):
        self.marks.append(text)

    def stop(self, reason="", is_complete=True):
        self.stops.append(reason)
