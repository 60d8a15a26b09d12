"""What is connected to which input, proposed from samples alone, with how sure that is."""

from monitor.proposal.look import Look, look_at
from monitor.proposal.propose import Proposal, propose
from monitor.proposal.verdict import Sureness, Verdict

__all__ = ["Look", "Proposal", "Sureness", "Verdict", "look_at", "propose"]
