"""Words to tasks and back."""
