"""What the glyphs and keys mean, what an answer proves, and what to mind."""

from monitor.cautions import CAUTIONS

HELP_TEXT = f"""\
LANES  one a cylinder, in firing order; one column a turn, newest right
  ·    acknowledged: called (or its call is not connected) and answered
  X    unacknowledged: called, no answer; or no answer in its turn
  O    uncommanded: its control is connected, and it was not called
  ?    unobserved: samples were lost, or two readings were equally good
  !    beside a cylinder: it has missed at least once since the start
  last how long ago it last missed

FLAGS  X fault   ! warning   i information   ▼ your mark; newest first

KEYS   q quit   ? this page   c turns in one column: 1, 2, 4, 8
       x flex test: move the harness, listen   t trace: the samples
       m mark: I felt it now   d where to look, in full
       in a replay: space pause, n a little further, f faster, s slower,
       j k the next or previous flag or mark, home the beginning

An acknowledgement proves that primary current was switched.
It does not prove a spark at the plug, still less combustion.

{CAUTIONS}"""
