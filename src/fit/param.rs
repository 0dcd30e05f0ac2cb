//! What is fitted: the pickup's own parameters, and those of the chain.

#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Param {
    Gain,
    B1,
    B2,
    /// A turn, or what feeds through a broken winding.
    Pole,
    Zero,
    /// Shares of inductance and EMF that go by the core, its time constant (s) and shape.
    CoreL,
    CoreEmf,
    CoreLnTau,
    CoreLnA,
    /// The same of a cover or baseplate.
    SheetL,
    SheetEmf,
    SheetLnTau,
    /// The other coil in series.
    OtherSize,
    OtherSlope,
    OtherLnB3,
    OtherLnB4,
    /// AC-coupling corner of the pickup's input in hertz.
    AcPickup,
    /// AC-coupling corner of the reference's input in hertz.
    AcReference,
    /// Mean of both inputs' corners, and the pickup's less the reference's: a take sees the difference well and the mean
    /// hardly, so these two are far less related than the corners themselves.
    AcMean,
    AcDifference,
    /// AC-coupling corner of the output in hertz (one channel).
    AcOutput,
    /// Sum and product of two unknown corners in series (one channel): equal corners are singular by themselves.
    AcSum,
    AcProduct,
    /// 1/f_x in seconds (per 2 pi): zero for a current reference.
    InverseCorner,
    /// Channel 1 after channel 2, or latency beyond what the drive was shifted by, in seconds.
    Delay,
    /// Clock difference beyond what the drive was stretched by, in ppm.
    Clock,
}
