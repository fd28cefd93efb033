"""The max-min engine on any batch function, and the setup problem on top of it."""

from setupopt.search.proposal import Proposal, ProposalOptions
from setupopt.search.proposing import propose

__all__ = ["Proposal", "ProposalOptions", "propose"]
