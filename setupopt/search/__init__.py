"""The max-min engine on any batch function, and the setup problem on top of it."""

from setupopt.search.proposal import Proposal
from setupopt.search.proposing import ProposalOptions, propose

__all__ = ["Proposal", "ProposalOptions", "propose"]
