"""The max-min engine on any batch function, and the setup problem on top of it."""

from setupopt.search.proposing import Proposal, propose

__all__ = ["Proposal", "propose"]
