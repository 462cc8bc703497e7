"""The publications that the checks refer to, in full words."""

from __future__ import annotations

from register import Source

DEFINITIONS = Source(
    "Definitions of the units (international foot and pound, US and imperial gallon)",
    "",
    standing="derived",
)
RATE_DEFINITION = Source("Rate is volume over area: the trade's constants", "", standing="derived")
PROJECT = Source("The project's own consistency values", "", standing="derived")
SQUARE_ROOT = Source("The square-root law of an orifice", "", standing="derived")
TIPS_IN_PARALLEL = Source("Equal tips in parallel, square-root law", "", standing="derived")
COUNTING = Source("Counting of pulses against a clock", "", standing="derived")
DARCY = Source(
    "Darcy-Weisbach with Colebrook, drawn tubing of 1.5 um, 20 C", "", standing="derived"
)
IAPWS_TABLE = Source("Water at 0.3 MPa from the 1997 industrial formulation", "IAPWS", "1997")
TIP_SIZES = Source(
    "ISO 10625, Equipment for crop protection: sprayer nozzles: nominal flow sizes at 3 bar",
    "International Organization for Standardization",
    "2018",
    standing="memory",
)
US_TIP_SIZES = Source(
    "Common practice, no source: US tip sizes are gal/min of water at 40 psi",
    "",
    standing="derived",
)
COMMON_PRACTICE = Source("Common practice, no source", "", standing="derived")

FLORIDA_HERBICIDE = Source(
    "Calibration of Herbicide Applicators (WG013)", "University of Florida IFAS Extension"
)
FLORIDA_MARION = Source(
    "Sprayer Calibration: Getting It Right",
    "University of Florida IFAS Extension, Marion County",
    "2017",
)
FLORIDA_CIRCULAR = Source(
    "Agricultural herbicide circular, pages 5 and 6 (title page not read)",
    "University of Florida Digital Collections",
)
OHIO_TURF = Source(
    "Calibrating Turfgrass Chemical Application Equipment (Bulletin 817-00)",
    "Ohio State University Extension",
)
LOUISIANA_TURF = Source("Sprayer Calibration (turf)", "Louisiana State University AgCenter")
LOUISIANA_OUNCES = Source("Ounces Equal Gallons", "Louisiana State University AgCenter")
MISSISSIPPI_TURF = Source(
    "Turf Tips newsletter", "Mississippi State University Extension", "2009 and 2013"
)
UTAH_VEGETABLE = Source(
    "Simple No-Math Calibration of a Vegetable Boom Sprayer (Horticulture/Vegetables/2014-03)",
    "Utah State University Extension",
    "2014",
)
GEORGIA_FOREST = Source(
    "Forest Pest Control (Special Bulletin 16), appendix", "University of Georgia", "2002"
)
WYOMING_ALBANY = Source("Calibrating Your Sprayer", "Albany County Weed and Pest, Wyoming")
COLORADO_MESA = Source("Sprayer Calibration Methods", "Mesa County, Colorado")
ALBERTA = Source("Crop protection guide (Agdex 606-1), page 11", "Alberta Agriculture")
NEBRASKA_DENSITY = Source(
    "Setting the Sprayer Flow Rate for Non-Water Solutions",
    "University of Nebraska, CropWatch",
    "2016",
)
OKLAHOMA_DENSITY = Source(
    "Using Water to Calibrate Sprayers for Fertilizers and Other Liquid Solutions",
    "Oklahoma State University Extension",
)
GEORGIA_DENSITY = Source("Spraying Solutions Other Than Water", "University of Georgia Extension")
OKLAHOMA_SLIDES = Source(
    "Calibrating Application Equipment (slides)",
    "Oklahoma State University-Oklahoma City",
    "2013",
)
CAROLINA_TURF = Source(
    "The Calibration of Turfgrass Boom Sprayers and Spreaders", "NC State Extension"
)
SAFETY_HANDBOOK = Source(
    "Agrochemical and pesticide safety handbook, page 128", "CRC Press", "1998 (year from memory)"
)
HENDERSON = Source("Calibration practice problems", "Henderson County Extension (state not shown)")
CLEMSON = Source(
    "Sprayer and Spreader Calibration", "Clemson University, Coastal Research and Education Center"
)
DAKOTA = Source(
    "Pesticide Mixing and Sprayer Calibration Equations", "South Dakota State University Extension"
)
ASTM_E549 = Source(
    "ASTM E549-87(2014) Standard Guide for Preparing Field Sprayer Calibration Procedures",
    "ASTM International",
    "2014",
)
GRAINS_MANUAL = Source(
    "Spray Application Manual, module 8.3",
    "Grains Research and Development Corporation, Australia",
    "2025",
)
MISSOURI = Source("Calibrating sprayers (G1270)", "University of Missouri Extension")
PUMP_LIBRARY = Source("Engineering Data Library: friction losses, nozzles", "Hydraulic Institute")
COUNTER_COURSE = Source("Electronic counter course (MM4620)", "United States Army")
COUNTER_ARTICLE = Source(
    "Article on reciprocal frequency counters in a public mathematics corpus", "not shown"
)
HOMEOWNER = Source("Homeowner sprayer calibration", "Pesticide Environmental Stewardship")
ACCREDITATION = Source(
    "Web page on sprayer calibration (arithmetic only)",
    "an Australian trainer for chemical accreditation",
)
EXAM_PREP = Source("Applicator examination preparation citing state material", "not shown")
EXAM_CARDS = Source("Applicator examination flash cards (question printed)", "not shown")
CORE_MANUAL = Source(
    "National pesticide applicator certification core manual, as quoted on a study page",
    "not shown",
)
PACIFIC_TABLES = Source(
    "Weights and Measures, Pacific Northwest Pest Management Handbooks",
    "Oregon State University, Washington State University and University of Idaho Extension",
)
