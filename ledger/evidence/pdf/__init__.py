"""The report of a dossier as a PDF for people who print it, made from the dossier alone and sealed with a signature."""
