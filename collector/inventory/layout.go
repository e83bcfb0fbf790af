package inventory

import "lightwell/collector/document"

// fileLayout is a fleet file as it is written.
type fileLayout struct {
	Poll        string           `yaml:"poll"`
	Sites       []siteLayout     `yaml:"sites"`
	Cables      []cableLayout    `yaml:"cables"`
	Units       []unitLayout     `yaml:"units"`
	Links       []linkLayout     `yaml:"links"`
	Severities  []severityLayout `yaml:"severities"`
	PlannedWork []workLayout     `yaml:"planned_work"`
}

type siteLayout struct {
	ID       string `yaml:"id,required"`
	Name     string `yaml:"name"`
	Address  string `yaml:"address"`
	Access   string `yaml:"access"`
	TimeZone string `yaml:"time_zone"`
	Poll     string `yaml:"poll"`
}

type cableLayout struct {
	ID      string  `yaml:"id,required"`
	Site    string  `yaml:"site,required"`
	LengthM float64 `yaml:"length_m,required"`
	Route   string  `yaml:"route"`
}

type unitLayout struct {
	ID          string `yaml:"id,required"`
	Name        string `yaml:"name"`
	Site        string `yaml:"site,required"`
	Role        string `yaml:"role,required"`
	Model       string `yaml:"model,required"`
	Supplies    *int   `yaml:"supplies"`
	Address     string `yaml:"address"`
	Via         string `yaml:"via"`
	Credentials string `yaml:"credentials"`
	Poll        string `yaml:"poll"`
}

type linkLayout struct {
	ID       string      `yaml:"id,required"`
	Name     string      `yaml:"name"`
	Outdoor  string      `yaml:"outdoor,required"`
	Indoor   string      `yaml:"indoor,required"`
	Use      string      `yaml:"use,required"`
	Services []string    `yaml:"services"`
	Downlink *pathLayout `yaml:"downlink,required"`
	Uplink   *pathLayout `yaml:"uplink,required"`
	RF       *rfLayout   `yaml:"rf"`
}

type pathLayout struct {
	Cable        string   `yaml:"cable,required"`
	Strand       int      `yaml:"strand,required"`
	WavelengthNM *float64 `yaml:"wavelength_nm"`
	Connectors   int      `yaml:"connectors"`
	Splices      int      `yaml:"splices"`
}

type rfLayout struct {
	GainBeforeLaserDB        float64 `yaml:"gain_before_laser_db,required"`
	NoiseFigureBeforeLaserDB float64 `yaml:"noise_figure_before_laser_db,required"`
	AntennaNoiseK            float64 `yaml:"antenna_noise_k,required"`
	CarrierDBW               float64 `yaml:"carrier_dbw,required"`
	CN0MinDBHz               float64 `yaml:"cn0_min_dbhz,required"`
}

type severityLayout struct {
	Type     string `yaml:"type,required"`
	Site     string `yaml:"site"`
	Unit     string `yaml:"unit"`
	Severity string `yaml:"severity,required"`
}

type workLayout struct {
	ID        string            `yaml:"id,required"`
	Resources []string          `yaml:"resources,required"`
	Start     string            `yaml:"start,required"`
	Duration  document.Duration `yaml:"duration,required"`
	TimeZone  string            `yaml:"time_zone"`
	Reason    string            `yaml:"reason"`
}
