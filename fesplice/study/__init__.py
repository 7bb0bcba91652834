"""Studies: many specimens from one file, computed on all cores or a cluster, read as trends.

file, cases      study file -> cases, each with its hand values or the reason it is dropped
runner           cases -> run folders and one table; resumable, nothing computed twice
"""

from fesplice.study.cases import Case, cases
from fesplice.study.description import Resources, Study
from fesplice.study.file import read_study, read_study_text
from fesplice.study.runner import StudyProgress, run_study
from fesplice.study.table import Table

__all__ = [
    "Case", "Resources", "Study", "StudyProgress", "Table", "cases", "read_study", "read_study_text", "run_study",
]  # fmt: skip
