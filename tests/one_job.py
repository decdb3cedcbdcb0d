"""Write the files of a small workshop with one axle drive's job, one line of everything that a job sheet shows."""

from __future__ import annotations

from pathlib import Path

from ingest.load import load

FILES = {
    "families.csv": """
        family,kind
        K40,axle drive
    """,
    "positions.csv": """
        family,position,component
        K40,pinion head bearing,bearing
        K40,crown wheel and pinion,crown wheel and pinion
    """,
    "shim locations.csv": """
        family,location,sits,quantity,thicker_moves
        K40,behind pinion head,shims,pinion depth,increases
    """,
    "parts.csv": """
        part,description,component
        B-100,pinion head bearing,bearing
    """,
    "units.csv": """
        unit,family,serial_number
        U-7,K40,K40-00071
    """,
    "jobs.csv": """
        job,unit,kind,opened,torn_down,closed,delivered,odometer (km),oil_steel,technician,warranty_months,invoiced (money)
        J/24-17,U-7,full rebuild,2024-03-04,2024-03-08,2024-03-20,2024-03-22,184250,heavy,T2,12,2515.50
        J/24-61,U-7,part rebuild,2024-09-02,,,,,,T1,,
    """,
    "complaints.csv": """
        job,complaint,when_heard
        J/24-17,whine,coast
    """,
    "findings.csv": """
        job,position,grade,damage_mode,role,action
        J/24-17,pinion head bearing,3,spalling,cause,replaced failed
        J/24-17,crown wheel and pinion,1,,sound,reused
    """,
    "measurements.csv": """
        job,quantity,location,stage,value,target,lower,upper,unit_written,instrument
        J/24-17,pinion depth,behind pinion head,as built,66.60,66.60,66.57,66.63,mm,DG1
        J/24-17,pinion depth,behind pinion head,as found,66.35,66.60,,,mm,DG1
        J/24-17,preload torque,,as built,2.26,,,,N.m,
    """,
    "shims.csv": """
        job,location,stage,thickness (mm),pieces,thickness_basis
        J/24-17,behind pinion head,as built,0.10,2,nominal
        J/24-17,behind pinion head,as built,0.15,,measured
    """,
    "contact patterns.csv": """
        job,trial,drive_lengthwise,drive_profile,passed
        J/24-17,1,toe,flank,no
    """,
    "part lines.csv": """
        job,part,movement,position,supplier,quantity (pieces),unit_cost (money),unit_price (money)
        J/24-17,B-100,fitted,pinion head bearing,Northgate Bearings,1,61.20,98.00
    """,
    "labour.csv": """
        job,operation,technician,worked (h),billed (h),worked_on
        J/24-17,strip,T2,2.5,2,2024-03-08
    """,
    "outside work.csv": """
        job,process,cost (money),price (money),sent,back
        J/24-17,cleaning,45.00,60.00,2024-03-09,2024-03-12
    """,
    "waits.csv": """
        job,waiting_on,part,wait_from,wait_to
        J/24-17,part,B-100,2024-03-09,2024-03-15
    """,
    "money lines.csv": """
        job,money_kind,amount (money),booked_on
        J/24-17,deposit,500.00,2024-03-04
    """,
    "road tests.csv": """
        job,test,tested_on,on_coast,distance (km)
        J/24-17,drive,2024-03-21,good,18
    """,
    "comebacks.csv": """
        original_job,comeback_job,reported,settled,outcome,payer,cost (money)
        J/24-17,J/24-61,2024-08-30,2024-09-09,our work,us,310.00
    """,
}


def write_files(folder: Path) -> Path:
    """Write the files into `folder`."""
    folder.mkdir(parents=True, exist_ok=True)
    for name, text in FILES.items():
        (folder / name).write_text("\n".join(line.strip() for line in text.strip().splitlines()) + "\n")
    return folder


def load_one_job(folder: Path) -> Path:
    """Load the files into job records below `folder` and return where they are kept."""
    files, records = write_files(folder / "files"), folder / "records"
    report = load(records, [files])
    assert report.standing["quarantined"] == 0, f"the files are sound, but: {report}"
    return records
