package hydraulics_test

import (
	"testing"

	"pumpside/drivers/quantity"
	"pumpside/rules/hydraulics"
)

// hp = gpm·psi/1714.2857, exactly 550·12·60/231; calculated.
func TestHydraulicPower(t *testing.T) {
	got := hydraulics.HydraulicPower(10*gpm, 1000*psi)
	near(t, "hp", float64(got)/hp, 5.8333, 5e-5)
	near(t, "kW", float64(got)/1000, 4.3499, 5e-5)
	// kW = L/min·bar/600
	near(t, "60 L/min at 100 bar in kW", float64(hydraulics.HydraulicPower(1e-3, 100e5))/1000, 10, 1e-9)
}

func TestWireToLiquidEfficiency(t *testing.T) {
	got, ok := hydraulics.WireToLiquidEfficiency(4349.9, 6000)
	if !ok {
		t.Fatal("no efficiency under power")
	}
	near(t, "efficiency", got, 0.72498, 1e-5)
	if got, ok := hydraulics.WireToLiquidEfficiency(1, 0); ok {
		t.Errorf("without power it is %v", got)
	}
}

func TestMotorSlip(t *testing.T) {
	tests := []struct {
		name  string
		f     quantity.Hertz
		poles int
		rotor quantity.RevolutionsPerMinute
		want  quantity.Ratio
	}{
		// DOE fundamentals handbook, electrical science, AC motor theory.
		{"2 poles, 60 Hz, 3,554 rpm", 60, 2, 3554, 0.01278},
		{"4 poles, 60 Hz, 1,750 rpm", 60, 4, 1750, 0.02778},
		{"a generator has negative slip", 50, 4, 1515, -0.01},
	}
	for _, tt := range tests {
		t.Run(tt.name, func(t *testing.T) {
			got, ok := hydraulics.MotorSlip(hydraulics.SynchronousSpeed(tt.f, tt.poles), tt.rotor)
			if !ok {
				t.Fatal("no slip")
			}
			near(t, "slip", got, tt.want, 5e-6)
		})
	}
	if got, ok := hydraulics.MotorSlip(hydraulics.SynchronousSpeed(50, 0), 1450); ok {
		t.Errorf("with poles not known it is %v", got)
	}
}

// Synchronous speeds of induction motors, any electrical handbook.
func TestSynchronousSpeed(t *testing.T) {
	for poles, want := range map[int][2]quantity.RevolutionsPerMinute{2: {3600, 3000}, 4: {1800, 1500}, 6: {1200, 1000}, 8: {900, 750}} {
		near(t, "60 Hz", hydraulics.SynchronousSpeed(60, poles), want[0], 1e-9)
		near(t, "50 Hz", hydraulics.SynchronousSpeed(50, poles), want[1], 1e-9)
	}
}

// At constant torque the slip in rpm stays under V/f control.
func TestSlipInTurnsStaysWhenFrequencyFalls(t *testing.T) {
	near(t, "4 poles, 45 Hz, 50 rpm rated slip", hydraulics.LoadedSpeed(45, 4, 50, 1), 1300, 1e-9)
	near(t, "half torque", hydraulics.LoadedSpeed(45, 4, 50, 0.5), 1325, 1e-9)
}

func TestBeltSlip(t *testing.T) {
	got, ok := hydraulics.BeltSlip(1750, 343, 5)
	if !ok {
		t.Fatal("no belt slip at speed")
	}
	near(t, "belt slip", got, 0.02, 1e-12)
	if got, ok := hydraulics.BeltSlip(0, 0, 5); ok {
		t.Errorf("at a standstill it is %v", got)
	}
}
