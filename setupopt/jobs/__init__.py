"""Long studies as small jobs: kept on disk, resumable, on all cores or on many machines."""
