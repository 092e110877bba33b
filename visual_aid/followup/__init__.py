"""What comes after a finding: hand checks, torque worksheets and what is due when."""
