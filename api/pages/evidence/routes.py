"""Every controller of the pages of evidence."""

from api.pages.evidence.approval_acts import ApprovalActs
from api.pages.evidence.approval_pages import ApprovalPages
from api.pages.evidence.dossier_page import DossierPages
from api.pages.evidence.examination_pages import ExaminationPages
from api.pages.evidence.examiner_pages import ExaminerPages

EVIDENCE_PAGES = (ApprovalPages, ApprovalActs, DossierPages, ExaminationPages, ExaminerPages)
