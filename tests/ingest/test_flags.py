"""Plant one row of each kind that deserves a second look, and see it flagged once; sound rows never."""

from __future__ import annotations

from pathlib import Path

import duckdb

from ingest.versions import WarehouseFolder
from tests.csv_workshop import BASE, CsvWorkshop

SOUND = {
    **BASE,
    "fittings.csv": """
        unit,fitted_from,fitted_to,vehicle,odometer (km)
        U1,2019-01-01,2020-06-01,V1,100000
        U1,2020-07-01,,V2,20000
    """,
    "jobs.csv": """
        job,unit,kind,opened,torn_down,closed,delivered,odometer (km),usage_basis,gear_set_found,gear_set_built
        J1,U1,full rebuild,2020-03-01,2020-03-02,2020-03-08,2020-03-09,120000,read,,
        J2,U1,reseal,2021-04-01,,2021-04-08,2021-04-09,30000,read,,
        J3,U3,full rebuild,2020-05-01,2020-05-02,2020-05-08,2020-05-09,90000,read,S1,S2
        J4,U3,full rebuild,2021-05-01,2021-05-02,2021-05-08,2021-05-09,5000,clock replaced,S2,S2
        J5,U3,reseal,2021-07-01,,2021-07-08,2021-07-09,1000,estimated,,
        J6,U3,reseal,2021-09-01,,2021-09-08,2021-09-09,9000,read,,
    """,
    "gear sets.csv": """
        set_number,family,marked_depth (mm),sign_rule
        S1,A7,0.10,added
        S2,A7,0.30,added
    """,
    "specifications.csv": """
        family,location,quantity,gear_set_condition,basis,constant,lower,upper,unit_written
        A7,behind pinion head,pinion depth,new,constant plus marked deviation,66.30,-0.03,0.03,mm
        A7,behind pinion head,pinion depth,used,recorded before strip,,-0.03,0.03,mm
    """,
    "measurements.csv": """
        job,quantity,location,stage,value,target,unit_written
        J3,pinion depth,behind pinion head,as built,66.61,66.60,mm
        J4,pinion depth,behind pinion head,as built,66.58,66.57,mm
        J3,pack thickness,behind pinion head,as built,1.26,,mm
    """,
    "shims.csv": """
        job,location,stage,thickness (mm)
        J3,behind pinion head,as built,1.00
        J3,behind pinion head,as built,0.25
    """,
    "parts.csv": "part,description\nP1,bearing\n",
    "part lines.csv": "job,part,quantity (pieces)\nJ1,P1,1\n",
}  # fmt: skip
PLANTED = {
    "odd jobs.csv": """
        job,unit,kind,opened,odometer (km)
        J7,U1,reseal,2022-01-01,29000
        J8,U3,full rebuild,2022-05-01,12000
    """,
    "odd measurements.csv": """
        job,quantity,location,stage,value,target,unit_written
        J3,pinion depth,behind pinion head,trial,66.61,66.50,mm
        J8,pack thickness,behind pinion head,as found,1.30,,mm
    """,
    "odd shims.csv": """
        job,location,stage,thickness (mm)
        J8,behind pinion head,as found,0.80
        J8,behind pinion head,as found,0.45
        J4,behind pinion head,as built,2.50
        J4,behind pinion head,as built,0.10
    """,
    "odd units.csv": "unit,family\nB-01,K4\nBO1,K4\n",
    "odd part lines.csv": "job,part,quantity (pieces)\nJ1,P9,1\nJ2,P9,2\n",
}
EXPECTED = {
    ("falling_odometer", "J7"): "odometer 29000 km on 2022-01-01 is below the 30000 km of job J2: clock replaced?",
    (
        "pack_differs",
        "J8",
    ): "behind pinion head, as_found: lines add up to 1.250 mm, the stack was measured as 1.300 mm",
    ("target_not_marking", "J3"): "target 66.500 mm, but 66.300 plus 0.300 mm marked on set S2 is 66.600 mm",
    ("spacer_among_shims", "J4"): (
        "behind pinion head: a piece of 2.500 mm among shims; a graded spacer written as a shim?"
    ),
    ("near_equal_tags", None): "units B-01, BO1 of family K4 may be one and the same",
    ("unknown_name", None): "part 'P9' in 2 part_line rows is on record as no part",
}


def test_sound_rows_are_not_flagged_and_planted_ones_once(tmp_path: Path) -> None:
    shop = CsvWorkshop(tmp_path)
    assert shop.load(SOUND).standing["quarantined"] == 0
    assert shop.ask("select * from flag") == []
    assert shop.load(PLANTED).standing["quarantined"] == 0
    told = shop.ask("select about, job, sentence from flag order by about")
    assert {(about, job): sentence for about, job, sentence in told} == EXPECTED
    assert len(told) == len(EXPECTED)


def test_the_clean_demo_is_not_flagged(clean_demo_folder: Path) -> None:
    folder = WarehouseFolder(clean_demo_folder)
    assert folder.current is not None
    connection = duckdb.connect(str(folder.version_file(folder.current)), read_only=True)
    assert connection.execute("select about, sentence from flag").fetchall() == []
    connection.close()
