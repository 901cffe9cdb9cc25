"""The job: one cloud file, or a folder that holds a cloud and a job.toml."""

from .load import JOB_FILE, Job, load_job

__all__ = ["JOB_FILE", "Job", "load_job"]
