"""What the glyphs and keys mean, what an answer proves, and what to mind."""

from monitor.cautions import CAUTIONS

_GLYPHS = """\
LANES  one a cylinder, in firing order; newest turn right, 1 to 8 a column
  ·    acknowledged: called (or its call is not connected) and answered
  X    unacknowledged: called, no answer; or no answer in its turn
  O    uncommanded: its control is connected, and it was not called
  ?    unobserved: samples were lost, or two readings were equally good
  !    beside a cylinder: it has missed at least once since the start
  missed, 95 %: the rate that the count leaves open   last: how long ago

ENGINE stopped, key on (by the feed, else the line), cranking, running,
       overrun: all cut for a moment, up to 5 s
FLAGS  X fault   ! warning   i information   ▼ your mark; newest first
"""

_KEYS = """\
KEYS   q quit   ? this page   m mark: I felt it now   d where to look
       b big figures   c turns in a column: 1, 2, 4, 8, as fits
       z mute or not   page up, page down, wheel: newer, older flags"""

_SAMPLE_KEYS = """\
       t trace: the samples   x flex test: listen
       a click on a flag or lane: the samples there"""

_NO_SAMPLES = """\
       no trace and no flex test here: they are where the samples are"""

_REPLAY_KEYS = """\
       space pause, n a little further, f faster, s slower,
       j k the next or previous flag or mark, home the beginning"""

_PROOF = f"""
An acknowledgement proves that primary current was switched.
It does not prove a spark at the plug, still less combustion.

{CAUTIONS}"""


def help_text(*, has_samples: bool, is_replay: bool) -> str:
    """Give the page, without keys that do nothing here."""
    keys = [_KEYS, _SAMPLE_KEYS if has_samples else _NO_SAMPLES, *([_REPLAY_KEYS] if is_replay else [])]
    return "\n".join((_GLYPHS, *keys, _PROOF))
