"""Where the numbers come from, and how far each was seen. No standard or book was at hand whole."""

from __future__ import annotations

from .check import Source

SECOND = "second-hand: quoted by others"
MEMORY = "from memory, not seen"

SAYERS = Source(
    "Sayers 1986",
    "M. W. Sayers, T. D. Gillespie and W. D. O. Paterson, World Bank Technical Paper 46, 1986; M. W. Sayers, "
    "Transp. Res. Rec. 1501, 1995",
    "second-hand: four public files print the same matrices",
)
KARAMIHAS = Source(
    "Sayers, Karamihas 1998",
    "M. W. Sayers and S. M. Karamihas, The little book of profiling, University of Michigan, 1998",
    MEMORY,
)
SROUBEK = Source(
    "Sroubek 2021",
    "F. Sroubek, M. Sorel and J. Zak, Int. J. Pavement Res. Technol., 2021, doi 10.1007/s42947-021-00097-z",
    "second-hand: the numbers stand in the code published with it",
)
KROPAC = Source(
    "Kropac, Mucka 2005",
    "O. Kropac and P. Mucka, J. Sound Vib. 287 (2005) 989-1003",
    MEMORY,
)
ISO = Source(
    "ISO 8608",
    "ISO 8608:2016, Mechanical vibration, road surface profiles, table C.2; lower limits as quoted with "
    "G. Agostinacchio, D. Ciampa and S. Olita, Eur. Transp. Res. Rev. 6 (2014) 267-275",
    SECOND,
)
GUST = Source(
    "14 CFR 25.341",
    "Code of Federal Regulations, title 14, 25.341(a), discrete gust",
    MEMORY,
)
NEWCOMBE = Source(
    "Newcombe 1998",
    "R. G. Newcombe, Stat. Med. 17 (1998) 857-872, table I",
    "Wilson's second-hand; Clopper and Pearson's from memory",
)
LUKSAN = Source(
    "Luksan, Vlcek 2000",
    "L. Luksan and J. Vlcek, Test problems for nonsmooth unconstrained and linearly constrained "
    "optimization, ICS AS CR report V-798, 2000",
    "second-hand: a table that quotes the optima; last digits worked out again with another solver",
)
MADSEN = Source("Madsen 1975", "K. Madsen, J. IMA 16 (1975) 321", MEMORY)
MITSOS = Source(
    "Mitsos, Djelassi",
    "A. Mitsos and H. Djelassi, A test set of semi-infinite programs (problems 2 and 6)",
    "statements seen; optima from memory, worked out again with another solver",
)
COOPE = Source(
    "Coope, Watson 1985",
    "I. D. Coope and G. A. Watson, Math. Program. 32 (1985)",
    "from memory; the optimum is exact by quadrature (one older print is wrong in its sixth digit)",
)
NIST = Source(
    "NIST StRD",
    "NIST Statistical Reference Datasets, nonlinear regression, certified values",
    "from memory; data and values confirm each other to every digit shown",
)
MORE = Source(
    "More 1981",
    "J. J. More, B. S. Garbow and K. E. Hillstrom, ACM Trans. Math. Softw. 7 (1981) 17-41",
    "from memory; reached only with the right data",
)
MILLIKEN = Source(
    "Milliken 1995",
    "W. F. Milliken and D. L. Milliken, Race Car Vehicle Dynamics, SAE, 1995, figure 2.9",
    "second-hand: open encyclopaedias",
)
PERANTONI = Source(
    "Perantoni 2014",
    "G. Perantoni and D. J. N. Limebeer, Vehicle System Dynamics 52 (2014) 653-678, tyre parameters",
    MEMORY,
)
PACEJKA = Source(
    "Pacejka",
    "H. B. Pacejka, Tyre and Vehicle Dynamics, appendix 3, a 205/60R15 tyre",
    "from memory, not confirmed",
)
PACEJKA_CAR = Source(
    "Pacejka, table 1.1",
    "H. B. Pacejka, Tyre and Vehicle Dynamics, chapter 1",
    MEMORY,
)
WONG_RIDE = Source(
    "Wong, section 7.2",
    "J. Y. Wong, Theory of Ground Vehicles, chapter 7",
    MEMORY,
)
WONG = Source(
    "Wong, example 5.1",
    "J. Y. Wong, Theory of Ground Vehicles, chapter 5",
    MEMORY,
)
SCHALLAMACH = Source(
    "Schallamach 1952",
    "A. Schallamach, Proc. Phys. Soc. B 65 (1952) 657-661",
    MEMORY,
)
ZERIHAN = Source(
    "Zerihan 2001",
    "J. Zerihan, PhD thesis, University of Southampton, 2001, figure 7a (read off to 0.02) and text: a "
    "single wing over a moving ground in a wind tunnel",
    "second-hand: a reader's notes",
)
OWN = Source(
    "derived",
    "two lines in the named test or docstring of the check's module",
    "ours",
)

SOURCES = [
    source for source in globals().values() if isinstance(source, Source)
]
