"""The pages of the warranty desk: find a ball, take and answer a claim, see what lots have in common, take over files."""
