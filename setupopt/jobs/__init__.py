"""Long studies as small jobs: kept on disk, taken up again, on all cores or many machines."""
