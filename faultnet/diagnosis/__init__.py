"""From a case to a diagnosis.

The flow: entries become evidence (:mod:`~faultnet.diagnosis.evidence`), acts cut visits into stages
(:mod:`~faultnet.diagnosis.acts`, :mod:`~faultnet.diagnosis.course`), models of the visits are compiled once
(:mod:`~faultnet.diagnosis.models`), the belief is explained and tests are ranked
(:mod:`~faultnet.diagnosis.ranking`), and everything is said in words (:mod:`~faultnet.diagnosis.wording`).
"""

from faultnet.diagnosis.diagnose import check_case, diagnosis_of, work_through
from faultnet.diagnosis.result import Cause, Diagnosis, NextTest, Reason, Seen

__all__ = ["Cause", "Diagnosis", "NextTest", "Reason", "Seen", "check_case", "diagnosis_of", "work_through"]
