"""A simulated rig: pump, lines, tips, sensors, board and cable, with everything that goes wrong.

In memory, for tests and tuning:

    from flowlog.simulator.plan import Fault, passes
    from flowlog.simulator.run import plain_rig, scenario_for, simulate, with_faults

    rig = plain_rig(tips=8)                       # or any flowlog.rig.model.Rig
    healthy = scenario_for(rig, hours=10, seed=3) # passes of 20-90 s, "field" noise
    run = simulate(healthy)
    run.samples                                   # Samples: every sample the board sent
    run.items                                     # [Hello, Samples, Hello, ...] in order
    run.received                                  # the same behind the scenario's cable
    run.truth.flow_m3_s                           # what truly flowed, an element a sample
    run.truth.total_volume_m3, run.truth.gauge_pa, run.truth.tip_share   # ...

    clogs = with_faults(healthy, Fault("tip blocked", at_s=600.0, tip=3))
    run = simulate(clogs)
    run.sample_at(600.0)                          # number of the sample at that time

`family` picks the supply ("demand", "demand relief", "roller", "roller throttled",
"centrifugal"), `noise` the level ("none", "quiet", "field", "harsh", or a
`flowlog.simulator.noise.Noise`), `legs` the work (`flowlog.simulator.plan.passes`). Everything
else is a field of `flowlog.simulator.plan.Scenario`, for `dataclasses.replace`.
"""
