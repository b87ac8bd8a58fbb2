"""UBL 2.1 (ISO/IEC 19845) documents: orders out, order responses and despatch advices in and out; values, no rows."""
