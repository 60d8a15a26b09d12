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
Cautions: no secondary and no two-wire primary onto an input without a rated attenuator; key off to connect;
leads clear of belts, fans, exhaust and pedals; ventilate; wheels chocked while the vehicle stands.
On the road a second person works the laptop and the driver drives. Maker's instructions and local law come first."""
