"""What a person must know before connecting a lead or driving off."""

CAUTIONS = """\
BEFORE YOU CONNECT
- The secondary side carries tens of kV, the primary of a two-wire coil some
  hundreds of volts: never onto an input without an attenuator rated for it.
- Know your input's limit.
- A serial ADC board needs a divider and a clamp in front of it.
- Key off to connect. Keep leads clear of belts, fans and exhaust.
- Ventilate. Chock the wheels.
ON THE ROAD
- A second person works the laptop; the driver drives.
- Secure every lead away from the pedals.
Follow the vehicle maker's instructions, local law and licensed practice."""

CAUTIONS_IN_BRIEF = """\
Cautions: tens of kV on the secondary side, hundreds of volts on the primary of
a two-wire coil: never onto an input without an attenuator rated for it.
Key off to connect; leads clear of belts, fans, exhaust and pedals; ventilate;
chock the wheels. On the road a second person works the laptop, the driver
drives. Maker's instructions, local law and licensed practice come first."""
