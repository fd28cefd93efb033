"""Every check against something outside the project, once: asserted, and shown in docs/validation.md."""
