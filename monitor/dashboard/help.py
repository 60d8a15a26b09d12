"""What the glyphs and keys mean, what an answer proves, and what to mind."""

from monitor.cautions import CAUTIONS

HELP_TEXT = f"""\
LANES  one a cylinder, in firing order; one column a turn, newest right
  ·    acknowledged: called (or its call is not connected) and answered
  X    unacknowledged: called, no answer; or no answer in its turn
  O    uncommanded: its control is connected, and it was not called
  ?    unobserved: samples were lost, or two readings were equally good
  !    beside a cylinder: it has missed at least once since the start
  missed, 95 %: the rate that the count leaves open   last: how long ago

ENGINE stopped, key on (by the feed, else the line), cranking, running,
       overrun: all cut for a moment, up to 5 s
FLAGS  X fault   ! warning   i information   ▼ your mark; newest first

KEYS   q quit   ? this page   m mark: I felt it now   d where to look
       b big figures   t trace: the samples   x flex test: listen
       c turns in one column: 1, 2, 4, 8, as fits   z mute or not
       page up, page down: newer and older flags
       in a replay: space pause, n a little further, f faster, s slower,
       j k the next or previous flag or mark, home the beginning
MOUSE  a click on a flag or lane: the samples there; the wheel: older

An acknowledgement proves that primary current was switched.
It does not prove a spark at the plug, still less combustion.

{CAUTIONS}"""
