"""Numbers that a newcomer cannot give: what is usual, by kind of tyre and car, in the unit of each key.

A number that is measured on the very tyre or body stands before any of them. Common practice, no source; but
1/3 of the friction exponent: smooth elastic contact, Hertz.
"""

USUAL_RANGES = {
    "tyre foundation_N_per_mm3": "0.10 to 0.25 racing slick, 0.06 to 0.15 road",
    "tyre friction": "1.4 to 1.9 warm slick, 0.9 to 1.2 road, at 100 to 200 kPa",
    "tyre friction_exponent": "0.10 to 0.25 slick, 0.05 to 0.15 road; at most 1/3",
    "tyre inclination_compliance_deg_per_kN": "0.2 to 0.6 cross-ply slick, 0.1 to 0.3 radial",
    "tyre shear_per_foundation": "1 to 3 slick, 0.5 to 1.5 deep tread blocks",
    "tyre camber_thrust_share": "0.3 to 0.8",
    "tyre carcass_N_per_mm": "150 to 350 at working pressure, car tyre",
    "tyre radius_growth_mm": "0 to 1 % of the radius at 50 m/s, by the square of speed",
    "tyre damping_Ns_per_mm": "0.05 to 0.5; counts for prove only",
    "air.element free_area_m2": "1 to 2.5 times plan area wing, 0 to 0.5 floor",
    "air.element ground_area_m2": "0.5 to 2 times plan area floor, 0 high wing",
    "air.element peak_gap_mm": "15 to 60 floor, 60 to 150 front wing",
    "air.element yaw_loss_per_rad2": "2 to 8",
}
