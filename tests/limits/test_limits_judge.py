"""Every limit at, just under and just over, in every unit that it carries.

The expected figures and verdicts are typed here from the documents named beside them; none is
taken from the table. The last test of the first part proves that no figure of the table goes
unchecked. Steps: 1/32 in, 0.1 mm, otherwise one unit (0.001 g; 0.001 in for a kingpin's gauge).

Verdict signs: ``>=`` and ``<=`` equal passes, ``>`` and ``<`` equal fails, ``..`` a range with
both ends inside.
"""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from decimal import Decimal
from fractions import Fraction

import pytest
from hypothesis import given
from hypothesis import strategies as st

from voicecheck.errors import UnknownInput, UnknownLimit
from voicecheck.limits import (
    LIMITS,
    CannotJudge,
    Judgement,
    Limit,
    confirming,
    find,
    inputs_of,
    judge_family,
    limit_of,
    units_of,
)
from voicecheck.limits.judge import judge
from voicecheck.units import IN, KPA, MM, PSI, UNITS, Quantity

Given = Mapping[str, str]
Case = tuple[str, str, Given, str]  # family, jurisdiction, inputs, "sign figure unit; ..."

STEER, DRIVE, TRAILER = {"axle": "steer"}, {"axle": "drive"}, {"axle": "trailer"}
DRUM, DISC = {"brake": "air drum"}, {"brake": "air disc"}
STRIP, PADS = {"lining style": "continuous strip"}, {"lining style": "two pads"}
BONDED, RIVETED = {"lining fastening": "bonded"}, {"lining fastening": "riveted"}
SINGLE, COMBINATION = {"combination": "no"}, {"combination": "yes"}
TRAIN = {"combination": "three or more units"}
NONE: Given = {}

CASES: list[Case] = [
    # 49 CFR 393.47(d)(1): "shall not be less than 4.8 mm (3/16 inch) ... continuous strip",
    # 6.4 mm (1/4 inch) two pads, air disc 3.2 mm (1/8 inch), "1.6 mm (1/16 inch) or less" fails.
    ("lining", "US", STEER | DRUM | STRIP, ">= 3/16 in; 4.8 mm"),
    ("lining", "US", STEER | DRUM | PADS, ">= 1/4 in; 6.4 mm"),
    ("lining", "US", STEER | DISC, ">= 1/8 in; 3.2 mm"),
    ("lining", "US", STEER | {"brake": "hydraulic"}, "> 1/16 in; 1.6 mm"),
    ("lining", "US", STEER | {"brake": "electric"}, "> 1/16 in; 1.6 mm"),
    # 49 CFR 393.47(d)(2): 6.4 mm (1/4 inch) drum; 1/8 inch disc; hydraulic or electric "less than
    # 1.6 mm (1/16 inch)" fails.
    ("lining", "US", DRIVE | DRUM, ">= 1/4 in; 6.4 mm"),
    ("lining", "US", TRAILER | DRUM, ">= 1/4 in; 6.4 mm"),
    ("lining", "US", DRIVE | DISC, ">= 1/8 in; 3.2 mm"),
    ("lining", "US-MD", TRAILER | DISC, ">= 1/8 in; 3.2 mm"),
    ("lining", "US", TRAILER | {"brake": "electric"}, ">= 1/16 in; 1.6 mm"),
    ("lining", "US", DRIVE | {"brake": "hydraulic"}, ">= 1/16 in; 1.6 mm"),
    # Québec, C-24.2, r. 32, s. 31 (2): bonded 5 mm (air), 1.6 mm (hydraulic or electric); riveted
    # 4.8 mm (steering axle), 8 mm (others); bolted 8 mm: "at least", so equal passes.
    ("lining", "CA-QC", STEER | DRUM | BONDED, ">= 5 mm"),
    ("lining", "CA-QC", TRAILER | DISC | BONDED, ">= 5 mm"),
    ("lining", "CA-QC", DRIVE | {"brake": "hydraulic"} | BONDED, ">= 1.6 mm"),
    ("lining", "CA-QC", STEER | DRUM | RIVETED, ">= 4.8 mm"),
    ("lining", "CA-QC", DRIVE | DRUM | RIVETED, ">= 8 mm"),
    ("lining", "CA-QC", TRAILER | DRUM | RIVETED, ">= 8 mm"),
    ("lining", "CA-QC", STEER | DRUM | {"lining fastening": "bolted"}, ">= 8 mm"),
    # 49 CFR Part 396 Appendix A 1.a(6)(d): steering drum below 1/4 in rejected, no 3/16; (c): other
    # axles, "1/16 inch or less ... for hydraulic and electric drum brakes" rejected.
    ("lining-periodic", "US", STEER | DRUM, ">= 1/4 in; 6.4 mm"),
    ("lining-periodic", "US", STEER | DISC, ">= 1/8 in; 3.2 mm"),
    ("lining-periodic", "US", STEER | {"brake": "electric"}, "> 1/16 in; 1.6 mm"),
    ("lining-periodic", "US", TRAILER | DRUM, ">= 1/4 in; 6.4 mm"),
    ("lining-periodic", "US", DRIVE | DISC, ">= 1/8 in; 3.2 mm"),
    ("lining-periodic", "US", TRAILER | {"brake": "electric"}, "> 1/16 in; 1.6 mm"),
    # Utah R714-162-11(1)(e)(iv) and (1)(d), 2019; COMAR 11.22.02.06 K.
    ("lining-crack-length", "US", NONE, "<= 1 1/2 in; 38 mm"),
    ("lining-crack-width", "US", NONE, "<= 1/16 in; 1.6 mm"),
    ("wedge-scribe", "US", NONE, "<= 1/16 in; 1.6 mm"),
    ("wedge-scribe", "US-MD", NONE, "<= 1/16 in; 1.6 mm"),
    # 49 CFR Part 396 Appendix A 1.a(5)(a): 80 to 90 psi; Ontario air brake handbook 11-2-0 and bus
    # handbook 7-1-5: "621 to 690 kPa (90 to 100 psi)".
    ("stroke-test-pressure", "US", NONE, ".. 80 90 psi; 552 621 kPa"),
    ("stroke-test-pressure", "CA-ON", NONE, ".. 90 100 psi; 621 690 kPa"),
    # COMAR 11.22.02.06 J(3); commercial-driver manual of Georgia 11.2.3.
    ("stroke-difference", "US-MD", STEER, "<= 1/4 in; 6.4 mm"),
    # Advice outside Maryland: common practice, no law.
    ("stroke-difference", "US", STEER, "<= 1/4 in; 6.4 mm"),
    # Georgia manual 11.2.3: "should not move more than one inch"; Canadian training pages
    # (private): half to three quarters of an inch.
    ("hand-pull", "US", {"slack adjuster": "manual"}, "<= 1 in; 25 mm"),
    ("hand-pull", "CA", {"slack adjuster": "manual"}, "<= 3/4 in; 19 mm"),
    # SGI Air Brake Manual, Within an inch of your life: when slack reaches 3/4 in (19 mm) the
    # brakes must be adjusted.
    ("hand-pull", "CA-SK", {"slack adjuster": "manual"}, "< 3/4 in; 19 mm"),
    # Driving Commercial Vehicles (B.C.), p. 188: adjust at more than 3/4 of an inch (20 mm).
    ("hand-pull", "CA-BC", {"slack adjuster": "manual"}, "<= 3/4 in; 20 mm"),
    # 49 CFR 571.121 S5.1.5 in NHTSA letters: on below 60 psi. COMAR 11.22.02.06 A.
    ("low-air-warning", "US", {"fmvss 121": "yes"}, ">= 60 psi; 414 kPa"),
    ("low-air-warning", "US-MD", NONE, ">= 60 psi; 414 kPa"),
    # 49 CFR 393.51(c), private copy: 379 kPa (55 psi) or half of the cut-out, the less.
    ("low-air-warning", "US", {"fmvss 121": "no", "governor cut-out": "120 psi"},
     ">= 55 psi; 379 kPa"),
    # Georgia 11M.1.2, North Carolina July 2017: before it drops below 55.
    ("low-air-warning-test", "US", NONE, ">= 55 psi; 379 kPa"),
    # Ontario handbook 55 psi (380 kPa); Alberta guide 60 psi (414 kPa); provincial manual 55.
    ("low-air-warning", "CA-ON", NONE, ">= 55 psi; 380 kPa"),
    ("low-air-warning", "CA-AB", NONE, ">= 60 psi; 414 kPa"),
    ("low-air-warning", "CA-MB", NONE, ">= 55 psi"),
    # Québec, C-24.2, r. 32, s. 38 (3), s. 166 (10): works below 380 kPa.
    ("low-air-warning", "CA-QC", NONE, ">= 380 kPa; 55 psi"),
    # Driving Commercial Vehicles (B.C.), Class 1 pre-trip: at or above 60 psi (414 kPa).
    ("low-air-warning", "CA-BC", NONE, ">= 60 psi; 414 kPa"),
    # Model manual section 5; COMAR; Ontario 85-100 in 2 min; Alberta 50-90 in 3 min.
    ("build-up", "US", {"air system": "dual"}, "<= 45 s"),
    ("build-up", "US", {"air system": "single"}, "<= 3 min"),
    ("build-up", "US-MD", NONE, "<= 3 min"),
    ("build-up", "CA-ON", NONE, "<= 2 min"),
    ("build-up", "CA-AB", NONE, "<= 3 min"),
    ("build-up", "CA-MB", NONE, "<= 3 min"),
    # Québec, C-24.2, r. 32, s. 38 (1): 350 to 620 kPa "en moins de 3 minutes".
    ("build-up", "CA-QC", NONE, "< 3 min"),
    # Driving Commercial Vehicles (B.C.): 50 to 90 psi "within three minutes".
    ("build-up", "CA-BC", NONE, "<= 3 min"),
    # 49 CFR 571.121 S5.1.1: 25 s for the required volume, in proportion above it.
    ("build-up-design", "US",
     {"actual reservoir volume": "4000 in3", "required reservoir volume": "4000 in3"}, "<= 25 s"),
    ("build-up-design", "US",
     {"actual reservoir volume": "6000 in3", "required reservoir volume": "4000 in3"},
     "<= 37.5 s"),
    # Georgia 11M.1.2, North Carolina July 2017: about 120 to 140. Federal Register 61:6173.
    ("governor-cut-out", "US", NONE, ".. 120 140 psi; 827 965 kPa"),
    ("governor-cut-in", "US", {"made from march 1997": "yes"}, ">= 100 psi; 689 kPa"),
    ("governor-cut-in", "US", {"made from march 1997": "no"}, ">= 100 psi; 689 kPa"),
    # Maryland rejects cut-out over 135 or cut-in below 80. Saskatchewan manual. Ontario.
    ("governor-cut-out", "US-MD", NONE, "<= 135 psi"),
    ("governor-cut-in", "US-MD", NONE, ">= 80 psi"),
    ("governor-cut-out", "CA-SK", NONE, ".. 120 145 psi"),
    ("governor-cut-in", "CA-SK", NONE, ">= 100 psi"),
    ("governor-gap", "CA-SK", NONE, ".. 20 25 psi"),
    # Québec, C-24.2, r. 32, s. 38 (2): in before 550 kPa is reached, out between 805 and 945 kPa.
    ("governor-cut-out", "CA-QC", NONE, ".. 805 945 kPa; 117 137 psi"),
    ("governor-cut-in", "CA-QC", NONE, "> 550 kPa; 80 psi"),
    # Driving Commercial Vehicles (B.C.): stops between 105 and 135 psi (724 and 931 kPa), cuts in
    # before pressure falls below 80 psi (552 kPa).
    ("governor-cut-out", "CA-BC", NONE, ".. 105 135 psi; 724 931 kPa"),
    ("governor-cut-in", "CA-BC", NONE, ">= 80 psi; 552 kPa"),
    ("leak-test-pressure", "CA-ON", NONE, ".. 80 145 psi"),
    # Georgia 11M.1.2, North Carolina: more than four pounds, more than three pounds a minute.
    ("leak-applied", "US", COMBINATION, "<= 4 psi/min; 28 kPa/min"),
    ("leak-applied", "US", TRAIN, "<= 4 psi/min; 28 kPa/min"),
    ("leak-applied", "US-MD", SINGLE, "<= 3 psi/min; 21 kPa/min"),
    # California Commercial Driver Handbook, applied leakage test: 6 psi for three or more vehicles.
    ("leak-applied", "US-CA", TRAIN, "<= 6 psi/min"),
    # Ontario: class A 4 psi (28 kPa), class D 3 psi (21 kPa); trains 6 from memory. SGI manual.
    ("leak-applied", "CA-ON", COMBINATION, "<= 4 psi/min; 28 kPa/min"),
    ("leak-applied", "CA-ON", SINGLE, "<= 3 psi/min; 21 kPa/min"),
    ("leak-applied", "CA-ON", TRAIN, "<= 6 psi/min"),
    ("leak-applied", "CA-SK", COMBINATION, "<= 4 psi/min; 28 kPa/min"),
    # Québec, C-24.2, r. 32, s. 166 (5): a loss that exceeds 40 kPa (one vehicle), 48 (two), 62.
    ("leak-applied", "CA-QC", SINGLE, "<= 40 kPa/min"),
    ("leak-applied", "CA-QC", COMBINATION, "<= 48 kPa/min"),
    ("leak-applied", "CA-QC", TRAIN, "<= 62 kPa/min"),
    # COMAR 11.14.04.03 K; the same California handbook, quoted in a forum: 5 psi.
    ("leak-released", "US", COMBINATION, "<= 3 psi/min; 21 kPa/min"),
    ("leak-released", "US", SINGLE, "<= 2 psi/min; 14 kPa/min"),
    ("leak-released", "US-CA", TRAIN, "<= 5 psi/min"),
    # 49 CFR 393.43(b) in D.C. 18-721: not lower than 20 or higher than 45 pounds.
    ("tractor-protection", "US", NONE, ".. 20 45 psi; 138 310 kPa"),
    # COMAR 11.22.02.06 F(5); Alberta guide 40 to 60 or higher; Saskatchewan manual min 20.
    ("tractor-protection", "US-MD", NONE, ".. 45 60 psi; 310 414 kPa"),
    ("tractor-protection", "CA-AB", NONE, ">= 40 psi"),
    ("tractor-protection", "CA-SK", NONE, ">= 20 psi; 138 kPa"),
    # Québec, C-24.2, r. 32, s. 38 (7): the tractor keeps 420 kPa at least.
    ("tractor-protection", "CA-QC", NONE, ">= 420 kPa; 61 psi"),
    # Driving Commercial Vehicles (B.C.): supply valve closes between 20 and 45 psi (138, 310 kPa).
    ("tractor-protection", "CA-BC", NONE, ".. 20 45 psi; 138 310 kPa"),
    # Model manual section 5; Alberta guide 20 to 45 psi (138 to 311 kPa).
    ("park-valve", "US", NONE, ".. 20 45 psi; 138 310 kPa"),
    ("park-valve", "CA-AB", NONE, ".. 20 45 psi; 138 311 kPa"),
    # 49 CFR 393.43(d); 393.50(a) in S.C. Reg. 38-393.50: not below 70 percent; Maryland rejects a
    # drop of 30 percent or more.
    ("breakaway-hold", "US", NONE, ">= 15 min"),
    ("pressure-kept", "US", NONE, ">= 70 percent"),
    ("pressure-kept", "US-MD", NONE, "> 70 percent"),
    # 49 CFR 393.75(b), (c) in USPS Handbook PO-515 and COMAR 11.22.02.07: 4/32 and 2/32 in.
    ("tread", "US", STEER, ">= 4/32 in; 3.2 mm"),
    ("tread", "US", DRIVE, ">= 2/32 in; 1.6 mm"),
    ("tread", "US-MD", TRAILER, ">= 2/32 in; 1.6 mm"),
    # Ontario Reg. 625 in private copies, s. 3 (1) for 1.5 mm; B.C. driver manual p. 56:
    # "3 mm (1/8 in)" front, "1.6 mm (1/16 in)" rear and trailer; Québec C-24.2 r. 32 s. 120 (1):
    # 3.2 mm on the steering axle of a vehicle of 4,500 kg or more, 1.6 elsewhere; s. 170 (2): major
    # below 1.6 and 0.8.
    ("tread", "CA-ON", STEER, ">= 3 mm"),
    ("tread", "CA-ON", DRIVE, ">= 1.5 mm"),
    ("tread", "CA-BC", STEER, ">= 3 mm; 1/8 in"),
    ("tread", "CA-BC", TRAILER, ">= 1.6 mm; 1/16 in"),
    ("tread", "CA-QC", STEER, ">= 3.2 mm"),
    ("tread", "CA-QC", TRAILER, ">= 1.6 mm"),
    ("tread-major", "CA-QC", STEER, ">= 1.6 mm"),
    ("tread-major", "CA-QC", DRIVE, ">= 0.8 mm"),
    # 49 CFR 393.209(b)(2): angle for a wheel that is not listed.
    ("steering-lash", "US", {"wheel diameter": "17 in", "power steering": "no"}, "<= 14 deg"),
    ("steering-lash", "US", {"wheel diameter": "24 in", "power steering": "yes"}, "<= 30 deg"),
    # 49 CFR 570.60 Table 2, in inches only.
    ("steering-lash-inspection", "US", {"wheel diameter": "16 in"}, "<= 2 in; 51 mm"),
    ("steering-lash-inspection", "US", {"wheel diameter": "18 in"}, "<= 2 1/4 in; 57 mm"),
    ("steering-lash-inspection", "US", {"wheel diameter": "20 in"}, "<= 2 1/2 in; 64 mm"),
    ("steering-lash-inspection", "US", {"wheel diameter": "22 in"}, "<= 2 3/4 in; 70 mm"),
    # Part 396 Appendix A 2 in Utah R714-162-10(1)(b), (c), (d): "more than 3/8 inch",
    # "exceeds 1/2 inch". COMAR 11.22.02.27: 1/4 in. O. Reg. 199/07 s. 19 note 4: 12.7 mm.
    ("fifth-wheel-pivot", "US", NONE, "<= 3/8 in; 9.5 mm"),
    ("fifth-wheel-slider", "US", NONE, "<= 3/8 in; 9.5 mm"),
    ("fifth-wheel-plates", "US", NONE, "<= 1/2 in; 12.7 mm"),
    ("fifth-wheel-slider", "US-MD", NONE, "<= 1/4 in"),
    ("fifth-wheel-jaw", "US-MD", NONE, "<= 1/4 in"),
    ("fifth-wheel-plates", "CA-ON", NONE, "<= 1/2 in; 12.7 mm"),
    # Québec, C-24.2, r. 32, s. 169 (6), (7): more than 12.8 mm and 9.5 mm.
    ("fifth-wheel-plates", "CA-QC", NONE, "<= 12.8 mm; 1/2 in"),
    ("fifth-wheel-slider", "CA-QC", NONE, "<= 9.5 mm; 3/8 in"),
    # SAE J700 as printed on inspection guides: 2.000 and 2.875, each +- 0.005 in.
    ("kingpin-new-jaw", "US", NONE, ".. 1.995 2.005 in"),
    ("kingpin-new-throat", "US", NONE, ".. 2.870 2.880 in"),
    # COMAR 11.22.04.11 B: reject when worn 1/8 in or more. Makers' gauges: common practice.
    ("kingpin-wear", "US-MD", NONE, "< 1/8 in; 3.2 mm"),
    ("kingpin-wear", "US", NONE, "< 1/8 in; 3.2 mm"),
    ("kingpin-diameter", "US", NONE, "> 1.875 in; 47.6 mm"),
    # European service figure, from memory.
    ("kingpin-diameter", "EU", NONE, ">= 49 mm"),
    # 49 CFR 393.60(c) in private forms: 1/4 in (6 mm), 3/4 in (19 mm), 3 in (76 mm). COMAR
    # 11.22.02.20 A(3): chips "greater than 1/2 inch diameter".
    ("windshield-crack", "US", NONE, "<= 1/4 in; 6 mm"),
    ("windshield-damage", "US", NONE, "<= 3/4 in; 19 mm"),
    ("windshield-spacing", "US", NONE, ">= 3 in; 76 mm"),
    ("windshield-damage", "US-MD", NONE, "<= 1/2 in"),
    ("exhaust-clearance", "US-MD", NONE, ">= 1 1/2 in"),
    # 49 CFR 393.95(a)(1)(ii) in S.C. Reg. 38-393.95 (Sep 2024) and COMAR 11.22.02.16 B: 5 B:C, or
    # two of 4 B:C; placarded 10 B:C. (f), (b): three triangles, six fusees, three flares; one fuse.
    ("extinguisher", "US", {"placarded load": "no", "extinguishers": "one"}, ">= 5 B:C"),
    ("extinguisher", "US", {"placarded load": "no", "extinguishers": "two"}, ">= 4 B:C"),
    ("extinguisher", "US", {"placarded load": "yes", "extinguishers": "one"}, ">= 10 B:C"),
    ("warning-devices", "US", {"warning device": "triangles"}, ">= 3 count"),
    ("warning-devices", "US", {"warning device": "fusees"}, ">= 6 count"),
    ("warning-devices", "US", {"warning device": "liquid-burning flares"}, ">= 3 count"),
    ("warning-devices", "US-MD", {"warning device": "triangles"}, ">= 3 count"),
    ("spare-fuses", "US", NONE, ">= 1 count"),
    # 49 CFR 393.110(b), (c) in quotations: a 20 ft article, three not blocked, two blocked; the
    # Canadian standard has the same model (from memory); N.C. manual section 3: two in all.
    ("tiedown-count", "US",
     {"blocked": "no", "article length": "20 ft", "article weight": "9 lb"}, ">= 3 count"),
    ("tiedown-count", "US", {"blocked": "yes", "article length": "20 ft"}, ">= 2 count"),
    ("tiedown-count", "CA-AB",
     {"blocked": "no", "article length": "20 ft", "article weight": "9 lb"}, ">= 3 count"),
    ("tiedown-count", "CA", {"blocked": "yes", "article length": "20 ft"}, ">= 2 count"),
    # Driving Commercial Vehicles (B.C.), p. 95: 3.65 m and 600 kg, not held in front: three.
    ("tiedown-count", "CA-BC",
     {"blocked": "no", "article length": "3.65 m", "article weight": "600 kg"}, ">= 3 count"),
    ("tiedown-count-least", "US", NONE, ">= 2 count"),
    # 49 CFR 393.102(a)(1): 0.8 g forward, 0.5 rearward and sideways; (a)(2): 0.435, 0.5, 0.25.
    ("cargo-breaking-strength", "US", {"direction": "forward"}, ">= 0.8 g"),
    ("cargo-breaking-strength", "US", {"direction": "rearward"}, ">= 0.5 g"),
    ("cargo-breaking-strength", "US", {"direction": "sideways"}, ">= 0.5 g"),
    ("cargo-working-load", "US", {"direction": "forward"}, ">= 0.435 g"),
    ("cargo-working-load", "US", {"direction": "rearward"}, ">= 0.5 g"),
    ("cargo-working-load", "US", {"direction": "sideways"}, ">= 0.25 g"),
    # 49 CFR 393.102(b); 393.106(d); NSC 10 in the same B.C. manual: "at least 50 per cent".
    ("cargo-downward", "US", NONE, ">= 20 percent"),
    # Driving Commercial Vehicles (B.C.), p. 93; Québec, C-24.2, r. 30, s. 3: 0.8, 0.5, 0.5 g and
    # 20 percent, the load on each component not over its working load limit.
    ("cargo-working-load", "CA-BC", {"direction": "forward"}, ">= 0.8 g"),
    ("cargo-working-load", "CA-QC", {"direction": "rearward"}, ">= 0.5 g"),
    ("cargo-working-load", "CA", {"direction": "sideways"}, ">= 0.5 g"),
    ("cargo-downward", "CA", NONE, ">= 20 percent"),
    ("cargo-aggregate", "US", NONE, ">= 50 percent"),
    ("cargo-aggregate", "CA-AB", NONE, ">= 50 percent"),
    # 49 CFR 392.9(b)(2): first 50 miles; North Carolina manual section 3: 3 h or 150 mi.
    ("cargo-first-check", "US", NONE, "<= 50 mi; 80 km"),
    ("cargo-check-time", "US", NONE, "<= 3 h"),
    ("cargo-check-distance", "US", NONE, "<= 150 mi; 241 km"),
    # Ontario truck handbook 1-4-4, after National Safety Code Standard 10: 80 km, 3 h, 240 km.
    ("cargo-first-check", "CA-ON", NONE, "<= 80 km"),
    ("cargo-check-time", "CA", NONE, "<= 3 h"),
    ("cargo-check-distance", "CA-QC", NONE, "<= 240 km"),
    # 49 CFR 396.11(a)(4), 396.17(a), 396.21.
    ("report-kept", "US", NONE, ">= 3 month"),
    ("periodic-inspection", "US", NONE, "<= 12 month"),
    ("periodic-report-kept", "US", NONE, ">= 14 month"),
    # "valid for 24 hours from the time of inspection": MTO guide p. 4, Manitoba, SGI, N.S.
    ("trip-inspection", "CA-ON", NONE, "<= 24 h"),
    ("trip-inspection", "CA-MB", NONE, "<= 24 h"),
    ("trip-inspection", "CA-SK", NONE, "<= 24 h"),
    ("trip-inspection", "CA-NS", NONE, "<= 24 h"),
    ("trip-inspection", "CA-BC", NONE, "<= 24 h"),  # the national standard, as summarised
    # CVSE course (B.C.) 4-16: 20 days, 3 months; N.S. summary: 20 days; SAAQ, Heavy vehicle record:
    # 6 months in Québec; 6 months in Ontario and by the national standard, from memory.
    ("report-handed-in", "CA-BC", NONE, "<= 20 day"),
    ("report-handed-in", "CA-NS", NONE, "<= 20 day"),
    ("report-kept", "CA-BC", NONE, ">= 3 month"),
    ("report-kept", "CA-ON", NONE, ">= 6 month"),
    ("report-kept", "CA-AB", NONE, ">= 6 month"),
    ("report-kept", "CA-QC", NONE, ">= 6 month"),
    # O. Reg. 199/07 s. 1: over 4,500 kg (9,921 lb); SGI: above 11,794 kg.
    ("trip-inspection-weight", "CA-ON", NONE, "<= 4500 kg; 9921 lb"),
    ("trip-inspection-weight", "CA-NS", NONE, "<= 4500 kg; 9921 lb"),
    ("trip-inspection-weight", "CA-SK", NONE, "<= 11794 kg"),
]  # fmt: skip

# 49 CFR 393.47(e)(1) clamp table (77 FR 46633, 2012) with COMAR 11.22.02.06 J Table 1: type, long
# stroke, inches, millimetres. Ontario (Reg. 587 s. 5, from memory) uses the same figures.
for _type, _long, _inches, _mm in [
    ("6", "no", "1 1/4", "31.8"),
    ("9", "no", "1 3/8", "34.9"),
    ("12", "no", "1 3/8", "34.9"),
    ("12", "yes", "1 3/4", "44.5"),
    ("16", "no", "1 3/4", "44.5"),
    ("16", "yes", "2", "50.8"),
    ("20", "no", "1 3/4", "44.5"),
    ("20", "yes", "2", "50.8"),
    ("24", "no", "1 3/4", "44.5"),
    ("24", "yes", "2", "50.8"),
    ("24", "3 inch", "2 1/2", "63.5"),
    ("30", "no", "2", "50.8"),
    ("30", "yes", "2 1/2", "63.5"),
    ("36", "no", "2 1/4", "57.2"),
]:
    for _place in ("US", "CA-ON"):
        _inputs = {"chamber type": _type, "long stroke": _long}
        CASES.append(("stroke", _place, _inputs, f"<= {_inches} in; {_mm} mm"))
# COMAR 11.22.02.06 J Table 1: bolt-type chambers and rotochambers.
for _type, _inches in [
    *(("bolt A", "1 3/8"), ("bolt B", "1 3/4"), ("bolt C", "1 3/4"), ("bolt D", "1 1/4")),
    *(("bolt E", "1 3/8"), ("bolt F", "2 1/4"), ("bolt G", "2")),
    *(("rotochamber 9", "1 1/2"), ("rotochamber 12", "1 1/2"), ("rotochamber 16", "2")),
    *(("rotochamber 20", "2"), ("rotochamber 24", "2"), ("rotochamber 30", "2 1/4")),
    *(("rotochamber 36", "2 3/4"), ("rotochamber 50", "3")),
]:
    CASES.append(("stroke", "US", {"chamber type": _type}, f"<= {_inches} in"))
# Part 396 Appendix A 1.a(5)(b): 80 percent of the rated stroke marked: 2.5 in -> 2, 65 mm -> 52.
CASES.append(("stroke", "US", {"chamber type": "other", "rated stroke": "2.5 in"}, "<= 2 in"))
CASES.append(("stroke", "US", {"chamber type": "other", "rated stroke": "65 mm"}, "<= 52 mm"))

# 49 CFR 393.209(b)(1), 70 FR 48055, 15 Aug 2005: wheel, manual in/mm, power in/mm.
for _wheel, _manual, _power in [
    ("16", "2 in; 51 mm", "4 1/4 in; 108 mm"),
    ("18", "2 1/4 in; 57 mm", "4 3/4 in; 121 mm"),
    ("19", "2 3/8 in; 60 mm", "5 in; 127 mm"),
    ("20", "2 1/2 in; 64 mm", "5 1/4 in; 133 mm"),
    ("21", "2 5/8 in; 67 mm", "5 1/2 in; 140 mm"),
    ("22", "2 3/4 in; 70 mm", "5 3/4 in; 146 mm"),
]:
    for _assisted, _figures in (("no", _manual), ("yes", _power)):
        _inputs = {"wheel diameter": f"{_wheel} in", "power steering": _assisted}
        CASES.append(("steering-lash", "US", _inputs, f"<= {_figures}"))

# Tables to 49 CFR 393.108 (three private copies that agree): working load limits, lb and kg.
for _width, _lb, _kg in [
    *(("1 3/4", 1750, 790), ("2", 2000, 910), ("3", 3000, 1360), ("4", 4000, 1810)),
]:
    CASES.append(("wll-webbing", "US", {"webbing width": _width}, f"<= {_lb} lb; {_kg} kg"))
for _size, _grade, _lb, _kg in [
    *(("1/4", "30", 1300, 580), ("5/16", "30", 1900, 860), ("3/8", "30", 2650, 1200)),
    *(("7/16", "30", 3700, 1680), ("1/2", "30", 4500, 2030), ("5/8", "30", 6900, 3130)),
    *(("1/4", "unmarked", 1300, 580), ("1/2", "unmarked", 4500, 2030)),
    *(("1/4", "43", 2600, 1180), ("5/16", "43", 3900, 1770), ("3/8", "43", 5400, 2450)),
    *(("7/16", "43", 7200, 3270), ("1/2", "43", 9200, 4170), ("5/8", "43", 13000, 5910)),
    *(("1/4", "70", 3150, 1430), ("5/16", "70", 4700, 2130), ("3/8", "70", 6600, 2990)),
    *(("7/16", "70", 8750, 3970), ("1/2", "70", 11300, 5130), ("5/8", "70", 15800, 7170)),
    *(("1/4", "80", 3500, 1570), ("5/16", "80", 4500, 2000), ("3/8", "80", 7100, 3200)),
    *(("1/2", "80", 12000, 5400), ("5/8", "80", 18100, 8200)),
    *(("1/4", "100", 4300, 1950), ("5/16", "100", 5700, 2600), ("3/8", "100", 8800, 4000)),
    *(("1/2", "100", 15000, 6800), ("5/8", "100", 22600, 10300)),
]:
    _inputs = {"chain grade": _grade, "chain size": _size}
    CASES.append(("wll-chain", "US", _inputs, f"<= {_lb} lb; {_kg} kg"))
for _size, _lb, _kg in [
    *(("1/4", 1400, 640), ("5/16", 2100, 950), ("3/8", 3000, 1360), ("7/16", 4100, 1860)),
    *(("1/2", 5300, 2400), ("5/8", 8300, 3770), ("3/4", 10900, 4940)),
]:
    CASES.append(("wll-wire-rope", "US", {"rope size": _size}, f"<= {_lb} lb; {_kg} kg"))


def step(unit: str, family: str) -> Fraction:
    if family.startswith("kingpin-") and unit == "in":
        return Fraction(1, 1000)
    return {"in": Fraction(1, 32), "mm": Fraction(1, 10), "g": Fraction(1, 1000)}.get(
        unit, Fraction(1)
    )


# sign -> does the reading pass just under, at and just over the figure.
PASSES = {
    ">=": (False, True, True),
    ">": (False, False, True),
    "<=": (True, True, False),
    "<": (True, False, False),
}


def readings(case: Case) -> Iterator[tuple[str, str]]:
    """Each reading of a case with the verdict expected from the document."""
    family, _, _, text = case
    sign, _, figures = text.partition(" ")
    for figure in figures.split("; "):
        number, _, unit = figure.rpartition(" ")
        small = step(unit, family)
        ends = [(number, PASSES[sign])] if sign in PASSES else []
        if sign == "..":
            low, high = number.split(" ")
            ends = [(low, PASSES[">="]), (high, PASSES["<="])]
        for end, passes in ends:
            exact = Fraction(Quantity.of(end, unit).value)
            for offset, good in zip((-small, Fraction(0), small), passes, strict=True):
                reading = str(Quantity.of(exact + offset, unit))
                yield reading, "within" if good else "outside"


def judged(case: Case, reading: str) -> Judgement:
    family, place, inputs, _ = case
    return judge_family(family, Quantity.parse(reading), inputs, place)


@pytest.mark.parametrize(
    ("case", "reading", "expected"),
    [
        pytest.param(case, reading, expected, id=f"{case[0]}-{case[1]}-{number}-{reading}")
        for number, case in enumerate(CASES)
        for reading, expected in readings(case)
    ],
)
def test_at_just_under_and_just_over(case: Case, reading: str, expected: str) -> None:
    judgement = judged(case, reading)
    assert judgement.verdict == expected, judgement.reason
    assert judgement.basis in ("source figure", "usual rounded figure")
    assert judgement.limit is not None
    assert judge(judgement.limit.id, Quantity.parse(reading), case[2]) == judgement


def test_every_figure_of_the_table_is_checked_above() -> None:
    checked = {
        (judgement.limit.id, judgement.reading.unit.symbol)
        for case in CASES
        for reading, _ in readings(case)
        if (judgement := judged(case, reading)).limit is not None
    }
    carried = {(row.id, symbol) for row in LIMITS for symbol in row.unit_symbols}
    assert carried - checked == set()


# -- in the unit that was spoken ------------------------------------------------------------


def test_three_sixteenths_passes_although_its_millimetres_are_below_the_printed_figure() -> None:
    # 49 CFR 393.47(d)(1) prints 4.8 mm (3/16 inch); 3/16 in is 4.7625 mm exactly.
    inputs = STEER | DRUM | STRIP
    reading = Quantity.parse("3/16 in")
    assert judge("us-lin-1", reading, inputs).verdict == "within"
    assert reading.to(MM).value == Decimal("4.7625")
    assert judge("us-lin-1", reading.to(MM), inputs).verdict == "outside"


@pytest.mark.parametrize(
    ("family", "place", "inputs", "reading", "expected"),
    [
        # Exact conversion, figures worked by hand from 1 in = 25.4 mm and 1 psi = 6.894757 kPa.
        # B.C. handbook 3 mm: 1/8 in = 3.175 mm, 3/32 in = 2.38125 mm.
        ("tread", "CA-ON", STEER, "1/8 in", "within"),
        ("tread", "CA-ON", STEER, "3/32 in", "outside"),
        # Québec's 40 kPa is 5.80 psi, its 48 is 6.96.
        ("leak-applied", "CA-QC", SINGLE, "5 psi/min", "within"),
        ("leak-applied", "CA-QC", SINGLE, "6 psi/min", "outside"),
        ("leak-applied", "CA-QC", COMBINATION, "6 psi/min", "within"),
        ("leak-applied", "CA-QC", COMBINATION, "7 psi/min", "outside"),
        # Maryland cut-out 135 psi = 930.79 kPa; cut-in 80 psi = 551.58 kPa.
        ("governor-cut-out", "US-MD", NONE, "930 kPa", "within"),
        ("governor-cut-out", "US-MD", NONE, "931 kPa", "outside"),
        ("governor-cut-in", "US-MD", NONE, "552 kPa", "within"),
        ("governor-cut-in", "US-MD", NONE, "551 kPa", "outside"),
        # Ontario two minutes, read on a stop-watch in seconds.
        ("build-up", "CA-ON", NONE, "120 s", "within"),
        ("build-up", "CA-ON", NONE, "121 s", "outside"),
        # COMAR Table 1, bolt chamber D 1 1/4 in = 31.75 mm.
        ("stroke", "US", {"chamber type": "bolt D"}, "31.75 mm", "within"),
        ("stroke", "US", {"chamber type": "bolt D"}, "31.8 mm", "outside"),
        # 80 percent of 2.5 in = 50.8 mm.
        ("stroke", "US", {"chamber type": "other", "rated stroke": "2.5 in"}, "50.8 mm", "within"),
        ("stroke", "US", {"chamber type": "other", "rated stroke": "2.5 in"}, "50.9 mm",
         "outside"),
        # European 49 mm = 1.929 in.
        ("kingpin-diameter", "EU", NONE, "1.93 in", "within"),
        ("kingpin-diameter", "EU", NONE, "1.92 in", "outside"),
    ],
)  # fmt: skip
def test_without_a_figure_for_the_unit_the_reading_is_converted_and_that_is_said(
    family: str, place: str, inputs: Given, reading: str, expected: str
) -> None:
    judgement = judge_family(family, Quantity.parse(reading), inputs, place)
    assert judgement.verdict == expected
    assert judgement.basis == "reading converted"
    assert "reading converted" in judgement.reason


# -- law or guide ---------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("limit_id", "inputs", "guide"),
    [
        # Seen in the law, a law copy or a government handbook.
        ("us-lin-1", STEER | DRUM | STRIP, False),
        ("us-str-30-standard", {"chamber type": "30", "long stroke": "no"}, False),
        ("us-air-7-combination", COMBINATION, False),
        ("ca-qc-tyr-steer", STEER, False),
        ("us-ca-air-7-three", TRAIN, False),
        ("ca-crg-15-first", NONE, False),
        ("us-air-12", NONE, False),
        # A private copy, seen in part, from memory, practice, or "about".
        ("us-str-30-long", {"chamber type": "30", "long stroke": "yes"}, True),
        ("us-str-12-long", {"chamber type": "12", "long stroke": "yes"}, True),
        ("us-air-4", {"air system": "dual"}, True),
        ("eu-kp-1", NONE, True),
        ("us-kp-2-gauge", NONE, True),
        ("us-air-5-cut-out", NONE, True),
        ("us-crg-8-1-4", {"chain grade": "70", "chain size": "1/4"}, True),
        ("ca-on-str-30-standard", {"chamber type": "30", "long stroke": "no"}, True),
    ],
)
def test_guide_values_are_never_law(limit_id: str, inputs: Given, guide: bool) -> None:
    unit = limit_of(limit_id).unit_symbols[0]
    judgement = judge(limit_id, Quantity.of(1, unit), inputs)
    assert judgement.guide is guide
    assert ("guide value" in judgement.reason) is guide


@given(st.sampled_from(LIMITS), st.decimals(0, 99999, places=3))
def test_a_reason_always_names_figure_source_and_standing(row: Limit, value: Decimal) -> None:
    inputs = {
        **confirming(row),
        **{key: INPUT_FOR[key] for key in row.needs},
        **({"wheel diameter": "17 in"} if row.id.startswith("us-ste-4") else {}),
    }
    judgement = judge(row.id, Quantity(value, UNITS[row.unit_symbols[0]]), inputs)
    assert judgement.verdict in ("within", "outside")
    assert str(judgement.reading) in judgement.reason
    assert row.source in judgement.reason
    assert row.section in judgement.reason
    assert row.standing in judgement.reason
    for word in ("safe", "fit to"):
        assert word not in judgement.reason


INPUT_FOR = {
    "rated stroke": "2.5 in",
    "governor cut-out": "120 psi",
    "actual reservoir volume": "80 L",
    "required reservoir volume": "60 L",
    "article length": "20 ft",
    "article weight": "40000 lb",
}


# -- cannot judge ---------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("family", "place", "inputs", "missing"),
    [
        ("stroke", "US", {}, ("chamber type", "long stroke")),
        ("stroke", "US", {"chamber type": "30"}, ("long stroke",)),
        ("stroke", "US", {"long stroke": "yes"}, ("chamber type",)),
        ("stroke", "US", {"chamber type": "other"}, ("rated stroke",)),
        ("lining", "US", {}, ("axle", "brake", "lining style")),
        ("lining", "US", STEER | DRUM, ("lining style",)),
        ("lining", "US", DRIVE, ("brake",)),
        ("tread", "US", {}, ("axle",)),
        ("leak-applied", "US", {}, ("combination",)),
        ("leak-applied", "CA-SK", {}, ("combination",)),
        ("low-air-warning", "US", {}, ("fmvss 121",)),
        ("low-air-warning", "US", {"fmvss 121": "no"}, ("governor cut-out",)),
        ("steering-lash", "US", {"power steering": "yes"}, ("wheel diameter",)),
        ("wll-chain", "US", {"chain size": "1/2"}, ("chain grade",)),
        # No figure exists: asking does not help, so nothing is named.
        ("stroke", "US", {"chamber type": "20", "long stroke": "3 inch"}, ()),
        ("stroke", "CA-ON", {"chamber type": "20", "long stroke": "3 inch"}, ()),
        ("stroke", "US", {"chamber type": "36", "long stroke": "yes"}, ()),
        ("stroke", "CA-AB", {"chamber type": "30", "long stroke": "no"}, ()),
        ("lining", "US", DRIVE | {"brake": "wedge"}, ()),
        ("wll-chain", "US", {"chain grade": "80", "chain size": "7/16"}, ()),
        ("leak-applied", "CA-SK", SINGLE, ()),
        # Canada: an unmarked tiedown does not count (NSC 10 since 1 Jan 2010).
        ("wll-chain", "CA-ON", {"chain grade": "unmarked", "chain size": "1/2"}, ()),
        # One country never borrows from the other.
        ("tread", "CA-AB", STEER, ()),
        ("tread", "EU", STEER, ()),
        ("trip-inspection", "US", NONE, ()),
    ],
)
def test_a_missing_input_or_figure_is_named_and_never_passes(
    family: str, place: str, inputs: Given, missing: tuple[str, ...]
) -> None:
    found = find(family, inputs, place)
    assert isinstance(found, CannotJudge)
    assert found.missing == missing
    unit = sorted(units_of(family))[0]
    judgement = judge_family(family, Quantity.of(0, unit), inputs, place)
    assert judgement.verdict == "cannot judge"
    assert judgement.missing == missing
    assert judgement.bound is None
    for name in missing:
        assert name in judgement.reason


def test_a_row_named_by_id_still_needs_its_inputs() -> None:
    reading = Quantity.parse("1 in")
    assert judge("us-str-30-long", reading, {}).missing == ("chamber type", "long stroke")
    wrong = judge("us-str-30-long", reading, {"chamber type": "20", "long stroke": "yes"})
    assert wrong.verdict == "cannot judge"
    assert "chamber type 20" in wrong.reason
    assert wrong.missing == ()


@given(st.sampled_from(LIMITS), st.decimals("-9999", "-0.001", places=3))
def test_a_reading_below_zero_is_never_within(row: Limit, value: Decimal) -> None:
    inputs = {
        **confirming(row),
        **{key: INPUT_FOR[key] for key in row.needs},
        **({"wheel diameter": "17 in"} if row.id.startswith("us-ste-4") else {}),
    }
    judgement = judge(row.id, Quantity(value, UNITS[row.unit_symbols[0]]), inputs)
    assert judgement.verdict == "cannot judge"
    assert "below zero" in judgement.reason


def test_a_reading_of_another_kind_is_never_within() -> None:
    inputs = {"wheel diameter": "17 in", "power steering": "yes"}
    for reading in ("1 in", "1 psi", "0 percent"):
        judgement = judge_family("steering-lash", Quantity.parse(reading), inputs, "US")
        assert judgement.verdict == "cannot judge"
        assert "deg" in judgement.reason
    # A gauge reading is not a leak, although both are said in pounds.
    assert (
        judge_family("leak-applied", Quantity.parse("3 psi"), SINGLE, "US").verdict
        == "cannot judge"
    )


def test_unknown_names_are_refused() -> None:
    reading = Quantity.parse("1 in")
    with pytest.raises(UnknownLimit):
        judge("us-lin-99", reading, {})
    with pytest.raises(UnknownLimit):
        find("lining thickness", {}, "US")
    with pytest.raises(UnknownInput):
        find("lining", {}, "US-ZZ")
    for inputs in (
        {"axle": "Steer"},
        {"chamber type": "31"},
        {"long stroke": "true"},
        {"wheel diameter": "18"},
        {"wheel diameter": "18 psi"},
        {"rated stroke": "0 in"},
        {"governor cut-out": "high"},
    ):
        with pytest.raises(UnknownInput):
            find("stroke", inputs, "US")


def test_inputs_that_the_table_does_not_know_are_left_alone() -> None:
    inputs = {**STEER, "colour": "green", "unit number": "4711"}
    assert judge_family("tread", Quantity.parse("4/32 in"), inputs, "US").verdict == "within"


# -- choosing the jurisdiction --------------------------------------------------------------


@pytest.mark.parametrize(
    ("family", "inputs", "reading", "verdicts"),
    [
        # 58 psi: Ontario and the driver manuals accept 55, FMVSS 121, Maryland, Alberta do not.
        ("low-air-warning", {"fmvss 121": "yes"}, "58 psi",
         {"US": "outside", "US-MD": "outside", "CA-ON": "within", "CA-AB": "outside"}),
        # Exactly 70 percent left: Maryland rejects a drop of 30 percent or more.
        ("pressure-kept", NONE, "70 percent", {"US": "within", "US-MD": "outside"}),
        # 5/16 in of slider movement: COMAR 11.22.02.27 is stricter.
        ("fifth-wheel-slider", NONE, "5/16 in", {"US": "within", "US-MD": "outside"}),
        # 3.1 mm in front: 4/32 in is 3.2 mm, Québec says 3.2, Ontario and B.C. say 3.
        ("tread", STEER, "3.1 mm",
         {"CA-ON": "within", "CA-BC": "within", "CA-QC": "outside", "US": "outside"}),
        # 1.5 mm: Ontario (private copy) accepts, B.C. and Québec do not.
        ("tread", TRAILER, "1.5 mm",
         {"CA-ON": "within", "CA-BC": "outside", "CA-QC": "outside", "US": "outside"}),
        # Six psi a minute on a train of three units.
        ("leak-applied", TRAIN, "6 psi/min",
         {"US": "outside", "US-CA": "within", "CA-ON": "within", "CA-SK": "outside"}),
        # Exactly three quarters of an inch of slack: Saskatchewan has it adjusted.
        ("hand-pull", {"slack adjuster": "manual"}, "3/4 in", {"CA": "within", "CA-SK": "outside"}),
        # 42 psi: inside the federal range, below Maryland's.
        ("tractor-protection", NONE, "42 psi", {"US": "within", "US-MD": "outside"}),
    ],
)  # fmt: skip
def test_jurisdictions_differ_and_are_not_averaged(
    family: str, inputs: Given, reading: str, verdicts: Mapping[str, str]
) -> None:
    for place, expected in verdicts.items():
        assert judge_family(family, Quantity.parse(reading), inputs, place).verdict == expected


def test_a_state_falls_back_on_its_country() -> None:
    found = find("lining", DRIVE | DISC, "US-MD")
    assert not isinstance(found, CannotJudge)
    assert found.id == "us-lin-7"
    # Three units in California have a figure of their own, two have not.
    assert getattr(find("leak-applied", TRAIN, "US-CA"), "id", "") == "us-ca-air-7-three"
    assert getattr(find("leak-applied", COMBINATION, "US-CA"), "id", "") == "us-air-7-combination"


def test_half_of_a_low_governor_cut_out_takes_the_place_of_55_psi() -> None:
    # 49 CFR 393.51(c), private copy: 55 psi or half of the cut-out, whichever is less.
    def at(reading: str, cut_out: str) -> str:
        inputs = {"fmvss 121": "no", "governor cut-out": cut_out}
        return judge_family("low-air-warning", Quantity.parse(reading), inputs, "US").verdict

    assert at("50 psi", "100 psi") == "within"
    assert at("49 psi", "100 psi") == "outside"
    assert at("54 psi", "110 psi") == "outside"
    assert at("55 psi", "110 psi") == "within"
    assert at("50 psi", "130 psi") == "outside"
    assert at("345 kPa", "690 kPa") == "within"
    assert at("344 kPa", "690 kPa") == "outside"


def test_wheel_diameters_between_the_listed_ones_are_judged_by_angle() -> None:
    # 49 CFR 393.209(b)(1) lists 16 or less, 18, 19, 20, 21, 22; (b)(2) all others.
    for wheel, expected in [
        *(("14 in", "us-ste-2-16-power"), ("16 in", "us-ste-2-16-power")),
        *(("16.5 in", "us-ste-4-power"), ("17 in", "us-ste-4-power")),
        *(("18 in", "us-ste-2-18-power"), ("457.2 mm", "us-ste-2-18-power")),
        *(("22 in", "us-ste-2-22-power"), ("24 in", "us-ste-4-power")),
    ]:
        found = find("steering-lash", {"wheel diameter": wheel, "power steering": "yes"}, "US")
        assert getattr(found, "id", "") == expected
    # 49 CFR 570.60 Table 2 does not list 19: no figure.
    assert isinstance(
        find("steering-lash-inspection", {"wheel diameter": "19 in"}, "US"), CannotJudge
    )


def test_inputs_and_units_that_a_checklist_can_ask_for() -> None:
    assert inputs_of("stroke") == ("chamber type", "long stroke", "rated stroke")
    assert inputs_of("low-air-warning", "CA-QC") == ()
    assert inputs_of("tread") == ("axle",)
    assert inputs_of("us-str-30-long") == ("chamber type", "long stroke")
    assert inputs_of("leak-applied") == ("combination",)
    assert units_of("leak-applied") == {"psi/min", "kPa/min"}
    assert units_of("stroke") == {"in", "mm"}


# -- moving along the scale -----------------------------------------------------------------


@given(st.decimals(0, 300, places=2), st.decimals(0, 300, places=2))
def test_a_higher_warning_pressure_is_never_worse(one: Decimal, other: Decimal) -> None:
    low, high = sorted((one, other))
    for unit in (PSI, KPA):
        inputs = {"fmvss 121": "yes"}
        first = judge_family("low-air-warning", Quantity(low, unit), inputs, "US").verdict
        second = judge_family("low-air-warning", Quantity(high, unit), inputs, "US").verdict
        assert (first, second) != ("within", "outside")


@given(st.integers(0, 200))
def test_a_stroke_passes_exactly_up_to_two_inches(parts: int) -> None:
    # Type 30 standard, 393.47(e)(1): 2 in = 64/32 in.
    inputs = {"chamber type": "30", "long stroke": "no"}
    verdict = judge_family("stroke", Quantity.of(Fraction(parts, 32), IN), inputs, "US").verdict
    assert verdict == ("within" if parts <= 64 else "outside")
