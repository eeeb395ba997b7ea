"""Readers of laboratory reports: bytes in; rows, faults and questions out."""
