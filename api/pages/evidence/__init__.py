"""The pages of evidence: approval files, dossiers, and what outside auditors may look at."""
